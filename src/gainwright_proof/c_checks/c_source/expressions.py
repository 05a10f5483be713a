"""Abstract evaluation of C expressions: every result is a range, every range is recorded."""

from __future__ import annotations

from pycparser import c_ast

from gainwright_proof.c_checks.c_source import arithmetic
from gainwright_proof.c_checks.c_source.errors import UnsupportedC
from gainwright_proof.c_checks.c_source.memory import (
    Number,
    Path,
    Place,
    Pointer,
    State,
    Value,
    hull,
    joined,
    overlap,
)
from gainwright_proof.c_checks.c_source.places import (
    ANY_ELEMENT,
    Frame,
    Promises,
    default_range,
    element_place,
    is_literal,
    member_place,
    pointed_place,
)
from gainwright_proof.c_checks.c_source.rows import RowTable
from gainwright_proof.c_checks.c_source.types import (
    INT,
    ArrayType,
    Interval,
    IntType,
    Program,
    StructType,
    common_type,
    literal,
    promoted,
)

_ARITHMETIC = ("+", "-", "*")
_BITWISE = ("&", "|", "^")
_SHIFTS = ("<<", ">>")
_COMPARISONS = tuple(arithmetic.MIRRORED)
_TRUTH: Interval = (0, 1)


class Evaluator:
    """Evaluates expressions in a state; calls are left to the interpreter of statements."""

    def __init__(self, program: Program, promises: Promises) -> None:
        self.program = program
        self.promises = promises
        self.rows = RowTable()
        self.frames: list[Frame] = []
        self.written: set[Path] = set()
        self._defaults: dict[Path, Interval] = {}

    @property
    def frame(self) -> Frame:
        return self.frames[-1]

    def join(self, first: State | None, second: State | None) -> State | None:
        return joined(first, second, self._defaults.get)

    def record(self, node: c_ast.Node, kind: str, derived: Interval, allowed: Interval) -> bool:
        return self.rows.record(self.frame.function, node, kind, derived, allowed)

    # --- Memory ---------------------------------------------------------------------------------

    def read(self, place: Place, state: State, node: c_ast.Node) -> Value:
        if not isinstance(place.type, IntType):
            return self._address(place)
        if place.default is not None:
            self._defaults.setdefault(place.path, place.default)
        value = state.values.get(place.path, place.default)
        if value is None:
            raise UnsupportedC("a variable is read before it is written", node)
        return Number(value, place.type, place.path)

    def _address(self, place: Place) -> Pointer:
        if isinstance(place.type, ArrayType | StructType):
            return Pointer(place.path, place.type)
        return pointed_place(place)

    def place(self, node: c_ast.Node, state: State) -> Place:
        """Return the object that an lvalue names."""
        if isinstance(node, c_ast.ID) and node.name in self.frame.types:
            return Place(self.frame.path(node.name), self.frame.types[node.name])
        if isinstance(node, c_ast.StructRef):
            base = (
                self._object(self.number_or_pointer(node.name, state), node)
                if node.type == "->"
                else self.place(node.name, state)
            )
            return member_place(self.program, self.promises, base, node.field.name)
        if isinstance(node, c_ast.ArrayRef):
            return self._element(node, state)
        if isinstance(node, c_ast.UnaryOp) and node.op == "*":
            return self._object(self.evaluate(node.expr, state), node)
        raise UnsupportedC("this lvalue", node)

    def number_or_pointer(self, node: c_ast.Node, state: State) -> Value:
        if isinstance(node, c_ast.ID) and node.name in self.frame.pointers:
            return self.frame.pointers[node.name]
        return self.evaluate(node, state)

    def _object(self, value: Value, node: c_ast.Node) -> Place:
        if not isinstance(value, Pointer):
            raise UnsupportedC("pointer expected", node)
        return Place(value.path, value.target, default_range(value.target))

    def _element(self, node: c_ast.ArrayRef, state: State) -> Place:
        base = self.number_or_pointer(node.name, state)
        index = self.integer(node.subscript, state)
        if not isinstance(base, Pointer):
            raise UnsupportedC("index into something that is no array", node)
        if isinstance(base.target, ArrayType):
            allowed = (0, base.target.length - 1)
            self._record_index(node.subscript, index, allowed)
            low, high = overlap(index.range, allowed) or (0, 0)
            if low != high:
                raise UnsupportedC("an array index that is not a single value", node)
            return element_place(Place(base.path, base.target), low)
        # The number of elements is known only by name: the index must be known to lie below it.
        if base.length is None:
            raise UnsupportedC("index into an array of unknown length", node)
        is_below = index.path is not None and (index.path, base.length) in state.below
        highest = index.range[1] if is_below else -1
        self.record(node.subscript, "index below the length", index.range, (0, highest))
        return Place((*base.path, ANY_ELEMENT), base.target, default_range(base.target))

    def _record_index(self, node: c_ast.Node, index: Number, allowed: Interval) -> None:
        if not is_literal(node):
            self.record(node, "index", index.range, allowed)

    # --- Expressions ----------------------------------------------------------------------------

    def integer(self, node: c_ast.Node, state: State) -> Number:
        value = self.evaluate(node, state)
        if not isinstance(value, Number):
            raise UnsupportedC("integer expected", node)
        return value

    def evaluate(self, node: c_ast.Node, state: State) -> Value:
        """Return the value of an expression; side effects change the state."""
        match node:
            case c_ast.Constant():
                value, kind = literal(node)
                return Number((value, value), kind)
            case c_ast.ID() if node.name in self.program.enumerators:
                value = self.program.enumerators[node.name]
                return Number((value, value), INT)
            case c_ast.ID() if node.name in self.frame.pointers:
                return self.frame.pointers[node.name]
            case c_ast.ID() | c_ast.StructRef() | c_ast.ArrayRef():
                return self.read(self.place(node, state), state, node)
            case c_ast.Cast():
                return self._cast(node, state)
            case c_ast.UnaryOp():
                return self._unary(node, state)
            case c_ast.BinaryOp():
                return self._binary(node, state)
            case c_ast.TernaryOp():
                return self._conditional(node, state)
            case c_ast.FuncCall():
                return self.call(node, state)
        raise UnsupportedC(f"expression {type(node).__name__}", node)

    def call(self, node: c_ast.FuncCall, state: State) -> Value:
        raise NotImplementedError

    def _cast(self, node: c_ast.Cast, state: State) -> Value:
        kind = self.program.type_of(node.to_type)
        value = self.evaluate(node.expr, state)
        if kind == StructType("void"):
            return None
        if not isinstance(value, Number) or not isinstance(kind, IntType):
            raise UnsupportedC("this cast", node)
        # A negative number made unsigned on purpose is defined: modulo 2^bits.
        return self.converted(node, value, kind, on_purpose=not kind.signed)

    def converted(
        self, node: c_ast.Node, value: Number, kind: IntType, on_purpose: bool = False
    ) -> Number:
        """Return a value converted to a type; one that may not fit is recorded."""
        fits = kind.holds(value.range)
        always_fits = kind.holds(value.type.range) or (fits and is_literal(node))
        if not (always_fits or on_purpose):
            self.record(node, f"converted to {kind}", value.range, kind.range)
        return Number(arithmetic.wrapped(value.range, kind), kind, value.path if fits else None)

    def _unary(self, node: c_ast.UnaryOp, state: State) -> Value:
        if node.op == "&":
            place = self.place(node.expr, state)
            return Pointer(place.path, place.type)
        if node.op == "*":
            return self.read(self.place(node, state), state, node)
        if node.op in ("p++", "++", "p--", "--"):
            return self._step(node, state)
        operand = self.integer(node.expr, state)
        if node.op == "!":
            low, high = arithmetic.comparison_range("==", operand.range, (0, 0))
            return Number((low, high), INT)
        kind = promoted(operand.type)
        operand = self.converted(node.expr, operand, kind)
        zero = Number((0, 0), kind)
        match node.op:
            case "+":
                return operand
            case "-":
                return self._computed(node, "-", zero, operand, kind)
            case "~" if kind.signed:
                return Number((~operand.range[1], ~operand.range[0]), kind)
        raise UnsupportedC(f"operator {node.op}", node)

    def _step(self, node: c_ast.UnaryOp, state: State) -> Number:
        place = self.place(node.expr, state)
        before = self.integer(node.expr, state)
        kind = common_type(before.type, INT)
        one = Number((1, 1), INT)
        operator = "+" if "++" in node.op else "-"
        after = self._computed(node, operator, self.converted(node, before, kind), one, kind)
        self.store(node, place, after, state)
        return Number(before.range, before.type) if node.op.startswith("p") else after

    def store(self, node: c_ast.Node, place: Place, value: Number, state: State) -> None:
        """Convert a value to the type of an object and write it there."""
        if not isinstance(place.type, IntType):
            raise UnsupportedC("assignment to something that is no integer", node)
        if place.default is not None:
            self._defaults.setdefault(place.path, place.default)
        self.written.add(place.path)
        state.write(place.path, self.converted(node, value, place.type).range)

    def _binary(self, node: c_ast.BinaryOp, state: State) -> Number:
        if node.op in ("&&", "||"):
            yes, no = self.branches(node, state)
            state.become(self.join(yes, no) or state)
            return Number((int(no is None), int(yes is not None)), INT)
        left, right = self.integer(node.left, state), self.integer(node.right, state)
        return self.operation(node, node.op, left, right)

    def operation(self, node: c_ast.Node, operator: str, left: Number, right: Number) -> Number:
        """Return the result of a binary operator, and record its ranges."""
        if operator in _SHIFTS:
            return self._shifted(node, operator, left, right)
        kind = common_type(left.type, right.type)
        left, right = (self.converted(node, side, kind) for side in (left, right))
        if operator in _COMPARISONS:
            return Number(arithmetic.comparison_range(operator, left.range, right.range), INT)
        if operator in _BITWISE:
            return Number(arithmetic.bitwise_range(operator, left.range, right.range, kind), kind)
        if operator in _ARITHMETIC:
            return self._computed(node, operator, left, right, kind)
        raise UnsupportedC(f"operator {operator}", node)

    def _computed(
        self, node: c_ast.Node, operator: str, left: Number, right: Number, kind: IntType
    ) -> Number:
        exact = arithmetic.arithmetic_range(operator, left, right)
        if not is_literal(node) or not kind.holds(exact):
            self.record(node, f"result in {kind}", exact, kind.range)
        return Number(overlap(exact, kind.range) or kind.range, kind)

    def _shifted(self, node: c_ast.Node, operator: str, left: Number, right: Number) -> Number:
        kind = promoted(left.type)
        left = self.converted(node, left, kind)
        widths = (0, kind.bits - 1)
        if not is_literal(node):
            self.record(node, "shift count", right.range, widths)
        if kind.signed and not (is_literal(node) and left.range[0] >= 0):
            # Left it is undefined, right it is up to the compiler (6.5.7p4, p5).
            self.record(node, "shifted value", left.range, (0, kind.range[1]))
        exact = arithmetic.shift_range(operator, left.range, overlap(right.range, widths) or widths)
        if operator == "<<" and not (is_literal(node) and kind.holds(exact)):
            self.record(node, f"result in {kind}", exact, kind.range)
        return Number(overlap(exact, kind.range) or kind.range, kind)

    def _conditional(self, node: c_ast.TernaryOp, state: State) -> Value:
        results: list[Number] = []
        after: State | None = None
        branches = zip(self.branches(node.cond, state), (node.iftrue, node.iffalse), strict=True)
        for branch, expression in branches:
            if branch is not None:
                results.append(self.integer(expression, branch))
                after = self.join(after, branch)
        if after is None:
            raise UnsupportedC("neither side of ?: can be reached", node)
        state.become(after)
        kind = common_type(results[0].type, results[-1].type)
        sides = [self.converted(node, result, kind).range for result in results]
        return Number(hull(sides[0], sides[-1]), kind)

    # --- Conditions -----------------------------------------------------------------------------

    def branches(self, node: c_ast.Node, state: State) -> tuple[State | None, State | None]:
        """Return the states in which a condition holds and does not; None: never."""
        if isinstance(node, c_ast.UnaryOp) and node.op == "!":
            no, yes = self.branches(node.expr, state)
            return yes, no
        if isinstance(node, c_ast.BinaryOp) and node.op in ("&&", "||"):
            return self._connected(node, state)
        if isinstance(node, c_ast.BinaryOp) and node.op in _COMPARISONS:
            left, right = self.integer(node.left, state), self.integer(node.right, state)
            operator = node.op
        else:
            left, right, operator = self.integer(node, state), Number((0, 0), INT), "!="
        kind = common_type(left.type, right.type)
        left, right = (self.converted(node, side, kind) for side in (left, right))
        opposite = arithmetic.OPPOSITE[operator]
        return (
            self._assumed(operator, left, right, state),
            self._assumed(opposite, left, right, state),
        )

    def _connected(self, node: c_ast.BinaryOp, state: State) -> tuple[State | None, State | None]:
        first_yes, first_no = self.branches(node.left, state)
        goes_on = first_yes if node.op == "&&" else first_no
        yes, no = (None, None) if goes_on is None else self.branches(node.right, goes_on)
        if node.op == "&&":
            return yes, self.join(first_no, no)
        return self.join(first_yes, yes), no

    def _assumed(self, operator: str, left: Number, right: Number, state: State) -> State | None:
        """Return the part of a state in which a comparison holds."""
        after = state.copy()
        for this, other, relation in (
            (left, right, operator),
            (right, left, arithmetic.MIRRORED[operator]),
        ):
            value = arithmetic.narrowed(relation, this.range, other.range)
            if value is None:
                return None
            if this.path is not None:
                after.values[this.path] = value
        if left.path is not None and right.path is not None and operator in ("<", ">"):
            pair = (left.path, right.path)
            after.below.add(pair if operator == "<" else pair[::-1])
        return after
