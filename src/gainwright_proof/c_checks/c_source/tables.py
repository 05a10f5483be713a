"""The constant tables of a source against what the headers promise about their structures."""

from __future__ import annotations

from pycparser import c_ast

from gainwright_proof.c_checks.c_source.errors import UnsupportedC
from gainwright_proof.c_checks.c_source.places import Promises
from gainwright_proof.c_checks.c_source.rows import RangeRow, RowTable
from gainwright_proof.c_checks.c_source.types import (
    ArrayType,
    CType,
    IntType,
    PointerType,
    Program,
    StructType,
    is_text,
)


def table_rows(program: Program, promises: Promises) -> tuple[RangeRow, ...]:
    """Return a row for each promised member of each initialised object, over all its elements.

    Raises:
        UnsupportedC: an initialiser that is not made of integers and names of arrays.
    """
    tables = _Tables(program, promises)
    for name, declaration in program.objects.items():
        kind = _complete(program.type_of(declaration.type), declaration)
        tables.walk(declaration.init, kind, name, None)
    return tables.rows.rows()


def _complete(kind: CType, declaration: c_ast.Decl) -> CType:
    """An array without a size has that of its initialiser."""
    if isinstance(kind, PointerType) and isinstance(declaration.type, c_ast.ArrayDecl):
        return ArrayType(kind.target, len(declaration.init.exprs))
    return kind


class _Tables:
    def __init__(self, program: Program, promises: Promises) -> None:
        self.rows = RowTable()
        self._program = program
        self._promises = promises
        self._coordinates: dict[tuple[str, str], object] = {}

    def walk(
        self, node: c_ast.Node, kind: CType, text: str, member: tuple[str, str] | None
    ) -> None:
        if isinstance(kind, ArrayType):
            if is_text(node):
                return
            for element in node.exprs:
                self.walk(element, kind.element, f"{text}[]", member)
        elif isinstance(kind, StructType):
            self._structure(node, kind, text)
        elif isinstance(kind, IntType) and member is not None:
            self._integer(node, kind, text, member)

    def _structure(self, node: c_ast.InitList, kind: StructType, text: str) -> None:
        members = self._program.structs[kind.name]
        if len(node.exprs) != len(members):
            raise UnsupportedC("an initialiser that leaves members out", node)
        values = dict(zip(members, node.exprs, strict=True))
        for name, value in values.items():
            self.walk(value, members[name], f"{text}.{name}", (kind.name, name))
        for (structure, pointer), length in self._promises.lengths.items():
            if structure == kind.name:
                self._length(values[pointer], values[length], f"{text}.{length}")

    def _integer(self, node: c_ast.Node, kind: IntType, text: str, member: tuple[str, str]) -> None:
        structure, name = member
        allowed = self._promises.ranges.get(structure, {}).get(name)
        if allowed is not None:
            self._record(node, text, "promised range", self._program.constant(node), allowed)

    def _length(self, pointer: c_ast.Node, length: c_ast.Node, text: str) -> None:
        """A pointer to a table must say no more elements than the table has."""
        value = self._program.constant(length)
        if isinstance(pointer, c_ast.ID) and pointer.name in self._program.objects:
            declaration = self._program.objects[pointer.name]
            kind = _complete(self._program.type_of(declaration.type), declaration)
            size = kind.length if isinstance(kind, ArrayType) else 1
        else:
            size = 0
        self._record(length, text, "elements there are", value, (0, size))

    def _record(
        self, node: c_ast.Node, text: str, kind: str, value: int, allowed: tuple[int, int]
    ) -> None:
        # All elements of a table make one row, at the place of the first.
        place = c_ast.ID(text, self._coordinates.setdefault((text, kind), node.coord))
        self.rows.record("", place, kind, (value, value), allowed)
