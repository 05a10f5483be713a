"""Types of a parsed C source, for a machine whose ``int`` has 32 bits.

Parsing is done by ``pycparser`` on preprocessed text; types are looked up by their typedef names.
"""

from __future__ import annotations

import operator
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pycparser import CParser, c_ast
from pycparser.c_parser import ParseError

from gainwright_proof.c_checks.c_source.errors import UnsupportedC

Interval = tuple[int, int]
"""Lowest and highest value, both included."""


@dataclass(frozen=True, slots=True)
class IntType:
    """An integer type."""

    bits: int
    signed: bool

    @property
    def range(self) -> Interval:
        if self.signed:
            return -(1 << (self.bits - 1)), (1 << (self.bits - 1)) - 1
        return 0, (1 << self.bits) - 1

    def holds(self, value: Interval) -> bool:
        low, high = self.range
        return low <= value[0] and value[1] <= high

    def __str__(self) -> str:
        return f"{'int' if self.signed else 'uint'}{self.bits}_t"


@dataclass(frozen=True, slots=True)
class StructType:
    """A structure, known by the name of its typedef."""

    name: str


@dataclass(frozen=True, slots=True)
class ArrayType:
    element: CType
    length: int


@dataclass(frozen=True, slots=True)
class PointerType:
    target: CType


CType = IntType | StructType | ArrayType | PointerType

INT, UNSIGNED = IntType(32, True), IntType(32, False)
LONG_LONG, UNSIGNED_LONG_LONG = IntType(64, True), IntType(64, False)

_BASIC = {
    "char": IntType(8, True),
    "signed char": IntType(8, True),
    "unsigned char": IntType(8, False),
    "short": IntType(16, True),
    "unsigned short": IntType(16, False),
    "int": INT,
    "unsigned int": UNSIGNED,
    "long long": LONG_LONG,
    "unsigned long long": UNSIGNED_LONG_LONG,
    "_Bool": IntType(8, False),
}
_CONSTANT_OPERATORS = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "<<": operator.lshift,
}


def promoted(kind: IntType) -> IntType:
    """Return the type after the integer promotions (ISO/IEC 9899:1999, 6.3.1.1p2)."""
    return INT if kind.bits < INT.bits else kind


def common_type(left: IntType, right: IntType) -> IntType:
    """Return the type of the usual arithmetic conversions (ISO/IEC 9899:1999, 6.3.1.8)."""
    left, right = promoted(left), promoted(right)
    if left.bits != right.bits:
        return left if left.bits > right.bits else right
    return left if not left.signed else right


class Program:
    """Functions, structures, enumerators and objects of one preprocessed source."""

    def __init__(self, tree: c_ast.FileAST) -> None:
        self.functions: dict[str, c_ast.FuncDef] = {}
        self.enumerators: dict[str, int] = {}
        self.structs: dict[str, Mapping[str, CType]] = {}
        self.objects: dict[str, c_ast.Decl] = {}
        self._typedefs: dict[str, CType] = {}
        for item in tree.ext:
            self._take(item)

    @classmethod
    def parse(cls, text: str) -> Program:
        """Return the program of a preprocessed source; UnsupportedC if it is no C."""
        try:
            return cls(CParser().parse(text, "source"))
        except ParseError as error:
            raise UnsupportedC(str(error)) from error

    def _take(self, item: c_ast.Node) -> None:
        if isinstance(item, c_ast.FuncDef):
            self.functions[item.decl.name] = item
        elif isinstance(item, c_ast.Typedef):
            self._typedefs[item.name] = self._typedef(item)
        elif isinstance(item, c_ast.Decl):
            self._enumerate(item.type)
            if item.name and not isinstance(item.type, c_ast.FuncDecl) and item.init is not None:
                self.objects[item.name] = item

    def _typedef(self, item: c_ast.Typedef) -> CType:
        inner = item.type.type if isinstance(item.type, c_ast.TypeDecl) else None
        self._enumerate(inner)
        if isinstance(inner, c_ast.Struct) and inner.decls is not None:
            members = {member.name: self.type_of(member.type) for member in inner.decls}
            self.structs[item.name] = members
            return StructType(item.name)
        return self.type_of(item.type)

    def _enumerate(self, node: c_ast.Node | None) -> None:
        if isinstance(node, c_ast.TypeDecl):
            node = node.type
        if not isinstance(node, c_ast.Enum) or node.values is None:
            return
        value = -1
        for enumerator in node.values.enumerators:
            value = self.constant(enumerator.value) if enumerator.value is not None else value + 1
            self.enumerators[enumerator.name] = value

    def type_of(self, node: c_ast.Node) -> CType:
        """Return the type that a declaration's type node stands for."""
        if isinstance(node, c_ast.Typename | c_ast.Decl):
            return self.type_of(node.type)
        if isinstance(node, c_ast.PtrDecl):
            return PointerType(self.type_of(node.type))
        if isinstance(node, c_ast.ArrayDecl):
            element = self.type_of(node.type)
            return (
                PointerType(element)
                if node.dim is None
                else ArrayType(element, self.constant(node.dim))
            )
        if isinstance(node, c_ast.TypeDecl):
            return self._named(node.type)
        raise UnsupportedC(f"type {type(node).__name__}", node)

    def _named(self, node: c_ast.Node) -> CType:
        if isinstance(node, c_ast.Enum):
            return INT
        if isinstance(node, c_ast.IdentifierType):
            name = " ".join(node.names)
            if name in self._typedefs:
                return self._typedefs[name]
            if name in _BASIC:
                return _BASIC[name]
            if name == "void":
                return StructType("void")
            raise UnsupportedC(f"type {name}", node)
        raise UnsupportedC(f"type {type(node).__name__}", node)

    def constant(self, node: c_ast.Node) -> int:
        """Return the value of an expression of literals, enumerators, casts and + - * <<."""
        if isinstance(node, c_ast.Constant):
            return literal(node)[0]
        if isinstance(node, c_ast.ID) and node.name in self.enumerators:
            return self.enumerators[node.name]
        if isinstance(node, c_ast.Cast):
            return self.constant(node.expr)
        if isinstance(node, c_ast.UnaryOp) and node.op in ("-", "+"):
            value = self.constant(node.expr)
            return -value if node.op == "-" else value
        if isinstance(node, c_ast.UnaryOp) and node.op == "sizeof" and is_text(node.expr):
            return len(node.expr.value) - len('""') + len("\0")
        if isinstance(node, c_ast.BinaryOp) and node.op in _CONSTANT_OPERATORS:
            left, right = self.constant(node.left), self.constant(node.right)
            return _CONSTANT_OPERATORS[node.op](left, right)
        raise UnsupportedC("this constant expression", node)


def is_text(node: c_ast.Node) -> bool:
    """Whether a node is a text in quotes (no escapes are expected in it)."""
    return isinstance(node, c_ast.Constant) and node.type == "string"


def literal(node: c_ast.Constant) -> tuple[int, IntType]:
    """Return value and type of an integer literal (ISO/IEC 9899:1999, 6.4.4.1p5)."""
    text = node.value.lower()
    digits = text.rstrip("ul")
    suffix = text[len(digits) :]
    if not digits[:1].isdigit() or "." in digits:
        raise UnsupportedC(f"literal {node.value}", node)
    is_hexadecimal = digits.startswith("0x")
    value = int(digits, 16 if is_hexadecimal else 8 if digits[0] == "0" and digits != "0" else 10)
    for kind in _literal_types(suffix, is_hexadecimal or digits.startswith("0")):
        if kind.holds((value, value)):
            return value, kind
    raise UnsupportedC(f"literal {node.value}: too large", node)


def _literal_types(suffix: str, any_sign: bool) -> Iterator[IntType]:
    for signed, unsigned in ((INT, UNSIGNED), (LONG_LONG, UNSIGNED_LONG_LONG)):
        if suffix.count("l") == 2 and signed is INT:
            continue
        if "u" not in suffix:
            yield signed
        if "u" in suffix or any_sign:
            yield unsigned
