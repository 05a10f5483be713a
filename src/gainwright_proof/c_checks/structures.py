"""Reads the structures that preprocessed C headers declare, for a machine with a 32-bit ``int``."""

from __future__ import annotations

import operator
from collections.abc import Mapping
from dataclasses import dataclass, field

from pycparser import CParser, c_ast
from pycparser.c_parser import ParseError


class UnsupportedC(Exception):
    """The headers are no C, or declare something that this reader does not know."""


@dataclass(frozen=True, slots=True)
class IntType:
    bits: int
    signed: bool

    @property
    def range(self) -> tuple[int, int]:
        """Lowest and highest value."""
        if self.signed:
            return -(1 << (self.bits - 1)), (1 << (self.bits - 1)) - 1
        return 0, (1 << self.bits) - 1

    def __str__(self) -> str:
        return f"{'int' if self.signed else 'uint'}{self.bits}_t"


@dataclass(frozen=True, slots=True)
class StructType:
    name: str
    """Of its typedef."""


@dataclass(frozen=True, slots=True)
class ArrayType:
    element: CType
    length: int


CType = IntType | StructType | ArrayType

_BASIC = {
    "char": IntType(8, True),
    "signed char": IntType(8, True),
    "unsigned char": IntType(8, False),
    "short": IntType(16, True),
    "unsigned short": IntType(16, False),
    "int": IntType(32, True),
    "unsigned int": IntType(32, False),
    "long long": IntType(64, True),
    "unsigned long long": IntType(64, False),
}
_OPERATORS = {"+": operator.add, "-": operator.sub, "*": operator.mul, "<<": operator.lshift}


def structures(text: str) -> Mapping[str, Mapping[str, CType]]:
    """Return members by name, for each structure that has a typedef and no pointer in it.

    Raises:
        UnsupportedC: the text is no C, or a length is no constant expression.
    """
    try:
        tree = CParser().parse(text, "headers")
    except ParseError as error:
        raise UnsupportedC(str(error)) from error
    reader = _Reader()
    for item in tree.ext:
        reader.take(item)
    return reader.structures


@dataclass(slots=True)
class _Reader:
    structures: dict[str, dict[str, CType]] = field(default_factory=dict)
    _types: dict[str, CType] = field(default_factory=dict)
    _enumerators: dict[str, int] = field(default_factory=dict)

    def take(self, item: c_ast.Node) -> None:
        inner = getattr(getattr(item, "type", None), "type", None)
        for node in (getattr(item, "type", None), inner):
            if isinstance(node, c_ast.Enum) and node.values is not None:
                self._enumerate(node)
        if not isinstance(item, c_ast.Typedef):
            return
        if isinstance(inner, c_ast.Struct) and inner.decls is not None:
            members = {member.name: self._type(member.type) for member in inner.decls}
            known = {name: kind for name, kind in members.items() if kind is not None}
            if len(known) == len(members):
                self.structures[item.name] = known
            self._types[item.name] = StructType(item.name)
        elif (kind := self._type(item.type)) is not None:
            self._types[item.name] = kind

    def _enumerate(self, node: c_ast.Enum) -> None:
        value = -1
        for enumerator in node.values.enumerators:
            value = value + 1 if enumerator.value is None else self._constant(enumerator.value)
            self._enumerators[enumerator.name] = value

    def _type(self, node: c_ast.Node) -> CType | None:
        """Return a type; None for pointers and what is not known."""
        if isinstance(node, c_ast.ArrayDecl) and node.dim is not None:
            element = self._type(node.type)
            return None if element is None else ArrayType(element, self._constant(node.dim))
        if isinstance(node, c_ast.TypeDecl) and isinstance(node.type, c_ast.IdentifierType):
            name = " ".join(node.type.names)
            return self._types.get(name, _BASIC.get(name))
        return None

    def _constant(self, node: c_ast.Node) -> int:
        if isinstance(node, c_ast.Constant):
            return int(node.value.rstrip("uUlL"), 0)
        if isinstance(node, c_ast.ID) and node.name in self._enumerators:
            return self._enumerators[node.name]
        if isinstance(node, c_ast.Cast):
            return self._constant(node.expr)
        if isinstance(node, c_ast.UnaryOp) and node.op == "-":
            return -self._constant(node.expr)
        if isinstance(node, c_ast.BinaryOp) and node.op in _OPERATORS:
            sides = self._constant(node.left), self._constant(node.right)
            return _OPERATORS[node.op](*sides)
        raise UnsupportedC(f"{node.coord}: no constant expression that is known here")
