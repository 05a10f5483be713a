"""Which object an lvalue names, and what may be in it before anybody writes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from pycparser import c_ast

from gainwright_proof.c_checks.c_source.errors import UnsupportedC
from gainwright_proof.c_checks.c_source.memory import Path, Place, Pointer, State, Value
from gainwright_proof.c_checks.c_source.types import (
    ArrayType,
    CType,
    Interval,
    IntType,
    PointerType,
    Program,
    StructType,
)

ANY_ELEMENT = "[]"


@dataclass(frozen=True, slots=True)
class Promises:
    """What the source's headers promise about structures that it is given."""

    ranges: Mapping[str, Mapping[str, Interval]]
    """Range of a member by structure and member; others may hold anything."""
    lengths: Mapping[tuple[str, str], str]
    """For a pointer member: the member with the number of elements that it points at."""


@dataclass(slots=True)
class Frame:
    """One call of a function."""

    function: str
    number: int
    types: dict[str, CType] = field(default_factory=dict)
    pointers: dict[str, Pointer] = field(default_factory=dict)
    returns: list[tuple[Value, State]] = field(default_factory=list)

    def path(self, name: str) -> Path:
        return (f"{self.function}#{self.number}", name)


def member_place(program: Program, promises: Promises, base: Place, name: str) -> Place:
    """Return the place of a member of a structure."""
    if not isinstance(base.type, StructType) or name not in program.structs[base.type.name]:
        raise UnsupportedC(f"member {name} of {base.type}")
    kind = program.structs[base.type.name][name]
    declared = promises.ranges.get(base.type.name, {}).get(name)
    length = promises.lengths.get((base.type.name, name))
    return Place(
        path=(*base.path, name),
        type=kind,
        default=declared or default_range(kind),
        length=(*base.path, length) if length else None,
    )


def element_place(base: Place, index: int) -> Place:
    """Return the place of one element of an array."""
    if not isinstance(base.type, ArrayType):
        raise UnsupportedC(f"index into {base.type}")
    return Place((*base.path, index), base.type.element, default_range(base.type.element))


def pointed_place(place: Place) -> Pointer:
    """Return what a pointer in memory points at: an object of its own, of unknown length."""
    if not isinstance(place.type, PointerType):
        raise UnsupportedC(f"pointer expected, found {place.type}")
    return Pointer((*place.path, "->"), place.type.target, place.length)


def default_range(kind: CType) -> Interval | None:
    return kind.range if isinstance(kind, IntType) else None


def is_literal(node: c_ast.Node) -> bool:
    """Whether an expression is made of literals alone."""
    if isinstance(node, c_ast.Constant):
        return True
    parts = [part for _, part in node.children() if not isinstance(part, c_ast.Typename)]
    return bool(parts) and all(is_literal(part) for part in parts)
