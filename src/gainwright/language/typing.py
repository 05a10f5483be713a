"""Types and ranges of expressions: every intermediate value must fit 32 bits signed.

Ranges are inferred by interval arithmetic from the declared ranges. That is exact for one operator
and an over-approximation for whole expressions, so a value reported as fitting always fits.
"""

from __future__ import annotations

from gainwright.described.nearest import suggestion
from gainwright.language.expression import (
    ARITHMETIC,
    COMPARISONS,
    CONNECTIVES,
    SELECTIONS,
    SHIFTS,
    Binary,
    Boolean,
    Choice,
    Expression,
    InState,
    Integer,
    Operator,
    Reference,
    Unary,
    references,
)
from gainwright.language.expression_error import ExpressionError
from gainwright.language.intervals import compared, computed, connected
from gainwright.language.model import Kind
from gainwright.language.scope import ANY_BOOLEAN, INT32_HIGH, INT32_LOW, Bounds, Scope
from gainwright.language.write import write


def infer(expression: Expression, scope: Scope) -> tuple[Bounds | None, list[ExpressionError]]:
    """Return type and range of an expression, and everything wrong with it.

    The bounds are ``None`` where errors, here or in a declaration, leave them unknown.
    """
    inference = _Inference(scope)
    return inference.bounds(expression), inference.errors


class _Inference:
    def __init__(self, scope: Scope) -> None:
        self._scope = scope
        self.errors: list[ExpressionError] = []

    def _error(self, found: str, expected: str, remedy: str) -> None:
        self.errors.append(ExpressionError(found, expected, remedy))

    def bounds(self, expression: Expression) -> Bounds | None:
        match expression:
            case Integer(value, name):
                enumeration = self._scope.enumerations.get(name, "")
                return self._fitting(Bounds(Kind.INTEGER, value, value, enumeration), expression)
            case Boolean(value):
                return Bounds(Kind.BOOLEAN, int(value), int(value))
            case Reference(name, after):
                return self._reference(name, after)
            case InState(states, _):
                return self._in_state(states)
            case Unary(operator, operand):
                return self._unary(operator, operand, expression)
            case Binary(operator, left, right):
                return self._binary(operator, left, right, expression)
            case Choice():
                return self._choice(expression)

    def _reference(self, name: str, after: bool) -> Bounds | None:
        scope = self._scope
        names = scope.readable_next if after else scope.readable
        if name in names:
            return names[name]
        if after and scope.declared.get(name) in ("an input", "a condition"):
            self._error(
                f"next({name}), where {name} is {scope.declared[name]}",
                "next of a variable or output",
                "inputs and conditions are those that the tick saw: write the plain name",
            )
        elif after and name in scope.readable:
            self._error(
                f"next({name}) in {scope.place}",
                "plain names",
                f"write {name}; what a tick changes is said in a requirement of kind step",
            )
        elif scope.declared.get(name) == "a constant":
            self._error(
                f"'{name}', a constant that is not known here",
                "a constant declared above",
                "write the constants that others need before them",
            )
        elif name in scope.declared:
            self._error(
                f"'{name}', which is {scope.declared[name]}",
                f"a name that {scope.place} can read",
                f"{scope.place} reads {_readable_kinds(scope)}",
            )
        else:
            known = [*names, *(() if after else scope.fixed_names())]
            self._error(f"the unknown name '{name}'", "a declared name", suggestion(name, known))
        return None

    def _in_state(self, states: tuple[str, ...]) -> Bounds:
        for state in states:
            if state not in self._scope.states:
                self._error(
                    f"the unknown state '{state}'",
                    "a state of the trial",
                    suggestion(state, self._scope.states),
                )
        return ANY_BOOLEAN

    def _operand(self, expression: Expression, kind: Kind, user: str) -> Bounds | None:
        return self._required(self.bounds(expression), expression, kind, user)

    def _required(
        self, bounds: Bounds | None, expression: Expression, kind: Kind, user: str
    ) -> Bounds | None:
        wanted = Bounds(kind, 0, 1)
        if bounds is None or bounds.same_type(wanted):
            return bounds
        self._error(
            f"{bounds.type_words} as operand of {user}: {write(expression)}",
            wanted.type_words,
            _operand_remedy(bounds),
        )
        return None

    def _unary(self, operator: Operator, operand: Expression, whole: Expression) -> Bounds | None:
        if operator is Operator.NOT:
            bounds = self._operand(operand, Kind.BOOLEAN, "not")
            return Bounds(Kind.BOOLEAN, 1 - bounds.high, 1 - bounds.low) if bounds else ANY_BOOLEAN
        bounds = self._operand(operand, Kind.INTEGER, "-")
        if bounds is None:
            return None
        return self._fitting(Bounds(Kind.INTEGER, -bounds.high, -bounds.low), whole)

    def _hyphenated(self, whole: Expression) -> bool:
        """Report a name written with hyphens, which are signs of subtraction here."""
        meant = "_".join(_subtracted_names(whole))
        if "_" not in meant or meant not in self._scope.readable:
            return False
        self._error(
            f"{write(whole).replace(' ', '')}, where '{meant}' is a name",
            "names with _; - subtracts",
            f"write {meant}, or put the difference in brackets",
        )
        return True

    def _binary(
        self, operator: Operator, left: Expression, right: Expression, whole: Expression
    ) -> Bounds | None:
        user = operator.value
        unknown = references(whole) - self._scope.readable.keys()
        if operator is Operator.SUBTRACT and unknown and self._hyphenated(whole):
            return None
        if operator in CONNECTIVES:
            first, second = (self._operand(s, Kind.BOOLEAN, user) for s in (left, right))
            pairs = [_pair(side or ANY_BOOLEAN) for side in (first, second)]
            return Bounds(Kind.BOOLEAN, *connected(operator, *pairs))
        if operator in COMPARISONS:
            return self._comparison(operator, left, right)
        first = self._operand(left, Kind.INTEGER, user)
        second = self._operand(right, Kind.INTEGER, user)
        assert operator in ARITHMETIC | SHIFTS | SELECTIONS
        if first is None or second is None:
            return None
        result = Bounds(Kind.INTEGER, *computed(operator, _pair(first), _pair(second)))
        return self._fitting(result, whole)

    def _comparison(self, operator: Operator, left: Expression, right: Expression) -> Bounds:
        first, second = self.bounds(left), self.bounds(right)
        if first is None or second is None:
            return ANY_BOOLEAN
        equality = operator in (Operator.EQUAL, Operator.NOT_EQUAL)
        if not equality and not first.enumeration and not second.enumeration:
            sides = ((first, left), (second, right))
            if None in [self._required(*s, Kind.INTEGER, operator.value) for s in sides]:
                return ANY_BOOLEAN
        elif not first.same_type(second):
            self._error(
                f"{first.type_words} compared with {second.type_words}: "
                f"{write(Binary(operator, left, right))}",
                "two values of the same type",
                _comparison_remedy(first, second),
            )
            return ANY_BOOLEAN
        return Bounds(Kind.BOOLEAN, *compared(operator, _pair(first), _pair(second)))

    def _choice(self, choice: Choice) -> Bounds | None:
        condition = self._operand(choice.condition, Kind.BOOLEAN, "if")
        first, second = self.bounds(choice.consequence), self.bounds(choice.alternative)
        if first is None or second is None:
            return None
        if not first.same_type(second):
            self._error(
                f"{first.type_words} and {second.type_words} as the two values of: {write(choice)}",
                "two values of the same type",
                "give both values the same type",
            )
            return None
        if condition is not None and condition.constant:
            return first if condition.low else second
        low, high = min(first.low, second.low), max(first.high, second.high)
        return Bounds(first.kind, low, high, first.enumeration)

    def _fitting(self, bounds: Bounds, expression: Expression) -> Bounds | None:
        if bounds.low >= INT32_LOW and bounds.high <= INT32_HIGH:
            return bounds
        self._error(
            with_bounds(write(expression), bounds),
            f"every intermediate value between {INT32_LOW} and {INT32_HIGH} (32 bits signed)",
            "narrow the ranges of its operands, or limit them with min and max first",
        )
        return None


def with_bounds(text: str, bounds: Bounds) -> str:
    """Return an expression with what it can be, for a message."""
    if bounds.low < bounds.high:
        return f"{text}, which lies between {bounds.low} and {bounds.high}"
    return text if text == str(bounds.low) else f"{text}, which is {bounds.low}"


def _operand_remedy(bounds: Bounds) -> str:
    if bounds.enumeration:
        return "compare it with a value of its enumeration; named values are no amounts"
    if bounds.kind is Kind.BOOLEAN:
        return "write if ... then 1 else 0"
    return "compare it with an integer, for example != 0"


def _comparison_remedy(first: Bounds, second: Bounds) -> str:
    if named := first.enumeration or second.enumeration:
        return f"compare with a value of '{named}' by its name"
    return "compare like with like; true and false are written as words"


def _subtracted_names(expression: Expression) -> list[str]:
    match expression:
        case Reference(name, False) | Integer(_, name) if name:
            return [name]
        case Integer(value, _):
            return [str(value)]
        case Binary(Operator.SUBTRACT, left, right):
            return [*_subtracted_names(left), *_subtracted_names(right)]
    return [""]


def _pair(bounds: Bounds) -> tuple[int, int]:
    return bounds.low, bounds.high


def _readable_kinds(scope: Scope) -> str:
    plural = {
        "an input": "inputs",
        "a variable": "variables",
        "an output": "outputs",
        "a condition": "conditions declared above",
    }
    kinds = {scope.declared.get(name, "") for name in scope.readable}
    listed = [text for kind, text in plural.items() if kind in kinds]
    return ", ".join([*listed, "constants"])
