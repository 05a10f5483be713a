"""Reads an expression of a specification into the tree that every backend translates.

Grammar, loosest binding first; names are lower case with digits and underscores::

    expression  = "if" expression "then" expression "else" expression | implication
    implication = disjunction ["implies" implication]
    disjunction = conjunction {"or" conjunction}
    conjunction = negation {"and" negation}
    negation    = "not" negation | comparison
    comparison  = shift [("<" | "<=" | ">" | ">=" | "==" | "!=") shift]
    shift       = sum {("<<" | ">>") integer}
    sum         = product {("+" | "-") product}
    product     = sign {"*" sign}
    sign        = "-" sign | atom
    atom        = integer | "true" | "false" | name | "(" expression ")"
                | ("min" | "max") "(" expression "," expression ")"
                | "in_state" "(" name {"," name} ")"               requirements only
                | "next" "(" (name | in_state) ")"                 requirements only

Comparisons do not chain. A shift distance is an integer from 0 to 31 or a constant of such a
value; ``>>`` rounds down. There is no division, no modulo and no decimal number.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from gainwright.language.expression import (
    COMPARISONS,
    SHIFTS,
    Binary,
    Boolean,
    Choice,
    Expression,
    InState,
    Integer,
    Level,
    Operator,
    Reference,
    Unary,
)
from gainwright.language.expression_error import ExpressionError
from gainwright.language.functions import FUNCTIONS
from gainwright.language.tokens import RESERVED, Token, tokens

DEEPEST_NESTING = 60
LARGEST_SHIFT = 31
_COMPARISON_SYMBOLS = {operator.value: operator for operator in COMPARISONS}
_FUNCTION_NAMES = tuple(one.value for one, entry in FUNCTIONS.items() if entry.level is None)
_SUMS, _PRODUCTS = (
    {one.value: one for one in operators}
    | {one.value: one for one, entry in FUNCTIONS.items() if entry.level is level}
    for level, operators in (
        (Level.SUM, (Operator.ADD, Operator.SUBTRACT)),
        (Level.PRODUCT, (Operator.MULTIPLY,)),
    )
)
_SHIFT_SYMBOLS = {operator.value: operator for operator in SHIFTS}


def parse(
    text: str, constants: Mapping[str, int] | None = None, *, requirement: bool = False
) -> Expression:
    """Return the tree of ``text``; names in ``constants`` become integers that keep the name.

    ``requirement`` allows ``next(...)`` and ``in_state(...)``. Raises
    :class:`~gainwright.language.expression_error.ExpressionError` with the column. Whether the
    other names exist and the types fit is checked by :mod:`gainwright.language.typing`.
    """
    return _Parser(tokens(text), constants or {}, requirement).whole()


class _Parser:
    """Recursive descent; one method per line of the grammar."""

    def __init__(
        self, token_list: list[Token], constants: Mapping[str, int], requirement: bool
    ) -> None:
        self._tokens = token_list
        self._constants = constants
        self._requirement = requirement
        self._position = 0
        self._depth = 0

    def whole(self) -> Expression:
        if self._now.kind == "end":
            raise ExpressionError("nothing", "an expression", "write one, or leave the key out")
        result = self._expression()
        if self._now.kind != "end":
            raise ExpressionError(
                f"{self._now} after a complete expression",
                "an operator or the end",
                "add the missing operator or bracket",
                self._now.column,
            )
        return result

    @property
    def _now(self) -> Token:
        return self._tokens[self._position]

    def _advance(self) -> Token:
        token = self._now
        if token.kind != "end":
            self._position += 1
        return token

    def _accept(self, text: str) -> bool:
        if self._now.kind != "end" and self._now.text == text:
            self._position += 1
            return True
        return False

    def _require(self, text: str, remedy: str) -> None:
        if not self._accept(text):
            raise ExpressionError(str(self._now), f"'{text}'", remedy, self._now.column)

    def _deeper(self, rule: Callable[[], Expression]) -> Expression:
        self._depth += 1
        if self._depth > DEEPEST_NESTING:
            raise ExpressionError(
                f"more than {DEEPEST_NESTING} levels of nesting",
                f"at most {DEEPEST_NESTING}",
                "split the expression into named conditions",
                self._now.column,
            )
        result = rule()
        self._depth -= 1
        return result

    def _expression(self) -> Expression:
        return self._deeper(self._choice if self._now.text == "if" else self._implication)

    def _choice(self) -> Expression:
        remedy = "write if condition then value else value"
        self._advance()
        condition = self._expression()
        self._require("then", remedy)
        consequence = self._expression()
        self._require("else", remedy)
        return Choice(condition, consequence, self._expression())

    def _implication(self) -> Expression:
        left = self._disjunction()
        if not self._accept("implies"):
            return left
        return Binary(Operator.IMPLIES, left, self._deeper(self._implication))

    def _disjunction(self) -> Expression:
        left = self._conjunction()
        while self._accept("or"):
            left = Binary(Operator.OR, left, self._conjunction())
        return left

    def _conjunction(self) -> Expression:
        left = self._negation()
        while self._accept("and"):
            left = Binary(Operator.AND, left, self._negation())
        return left

    def _negation(self) -> Expression:
        if self._accept("not"):
            return Unary(Operator.NOT, self._deeper(self._negation))
        return self._comparison()

    def _comparison(self) -> Expression:
        left = self._shift()
        if self._now.text not in _COMPARISON_SYMBOLS:
            return left
        operator = _COMPARISON_SYMBOLS[self._advance().text]
        right = self._shift()
        if self._now.text in _COMPARISON_SYMBOLS:
            raise ExpressionError(
                f"a second comparison {self._now} in a chain",
                "one comparison",
                "join two comparisons with and",
                self._now.column,
            )
        return Binary(operator, left, right)

    def _shift(self) -> Expression:
        left = self._sum()
        while self._now.text in _SHIFT_SYMBOLS:
            operator = _SHIFT_SYMBOLS[self._advance().text]
            left = Binary(operator, left, self._shift_distance(operator))
        return left

    def _shift_distance(self, operator: Operator) -> Integer:
        token = self._now
        distance = self._sign()
        if self._now.text in _SUMS | _PRODUCTS:
            raise ExpressionError(
                f"{self._now} after the distance of a shift",
                "the shift in brackets; without them the sum would be the distance",
                f"write (... {operator.value} {token.text}) {self._now.text} ...",
                self._now.column,
            )
        if isinstance(distance, Integer) and 0 <= distance.value <= LARGEST_SHIFT:
            return distance
        raise ExpressionError(
            f"a shift by {token}",
            f"a shift by an integer from 0 to {LARGEST_SHIFT} or a constant of such a value",
            "write the distance as a number",
            token.column,
        )

    def _sum(self) -> Expression:
        left = self._product()
        while self._now.text in _SUMS:
            left = Binary(_SUMS[self._advance().text], left, self._product())
        return left

    def _product(self) -> Expression:
        left = self._sign()
        while self._now.text in _PRODUCTS:
            left = Binary(_PRODUCTS[self._advance().text], left, self._sign())
        return left

    def _sign(self) -> Expression:
        if not self._accept("-"):
            return self._atom()
        # A sign before a literal belongs to it, so that the smallest 32-bit integer can be written.
        if self._now.kind == "integer":
            return Integer(-_integer(self._advance()))
        return Unary(Operator.NEGATE, self._deeper(self._sign))

    def _atom(self) -> Expression:
        token = self._advance()
        if token.kind == "integer":
            return Integer(_integer(token))
        if token.text in ("true", "false"):
            return Boolean(token.text == "true")
        if token.text == "(":
            inner = self._expression()
            self._require(")", "close the bracket")
            return inner
        if token.text in _FUNCTION_NAMES:
            return self._function(Operator(token.text))
        if token.text in ("in_state", "next"):
            return self._of_requirement(token)
        if token.text in ("if", "not"):
            raise ExpressionError(
                f"{token.text} inside another operator",
                "brackets around it",
                "write (if ... then ... else ...)" if token.text == "if" else "write (not ...)",
                token.column,
            )
        if token.kind == "word" and token.text not in RESERVED:
            return self._name(token)
        raise ExpressionError(
            str(token), "a name, an integer or a bracket", "complete the expression", token.column
        )

    def _name(self, token: Token) -> Expression:
        if self._now.text == "(":
            raise ExpressionError(
                f"the function '{token.text}'",
                f"{', '.join(_FUNCTION_NAMES)}, and in requirements next and in_state",
                "use one of these, or an operator between the name and the bracket",
                token.column,
            )
        if token.text in self._constants:
            return Integer(self._constants[token.text], token.text)
        return Reference(token.text)

    def _function(self, operator: Operator) -> Expression:
        remedy = f"write {operator.value}(a, b)"
        self._require("(", remedy)
        left = self._expression()
        self._require(",", remedy)
        right = self._expression()
        self._require(")", remedy)
        return Binary(operator, left, right)

    def _of_requirement(self, token: Token) -> Expression:
        if not self._requirement:
            raise ExpressionError(
                f"{token.text}(...)",
                "inputs, variables and conditions only",
                "use it in requirements; a row already says its state",
                token.column,
            )
        if token.text == "in_state":
            return self._in_state()
        remedy = "write next(name) or next(in_state(...))"
        self._require("(", remedy)
        if self._accept("in_state"):
            inner: Expression = replace(self._in_state(), after=True)
        else:
            inner = self._next_name(self._advance(), remedy)
        self._require(")", remedy)
        return inner

    def _next_name(self, token: Token, remedy: str) -> Reference:
        if token.kind != "word" or token.text in RESERVED:
            raise ExpressionError(f"next of {token}", "the name of a variable or output", remedy)
        if token.text in self._constants:
            raise ExpressionError(
                f"next of the constant '{token.text}'",
                "the name of a variable or output",
                "write the constant without next",
                token.column,
            )
        self._refuse_hyphen(token)
        return Reference(token.text, after=True)

    def _refuse_hyphen(self, token: Token) -> None:
        """Refuse the rest of a name with hyphens, where only a name may stand."""
        if self._now.text == "-" and self._tokens[self._position + 1].kind != "end":
            rest = self._tokens[self._position + 1].text
            raise ExpressionError(
                f"the name '{token.text}-{rest}'",
                "a name with _ instead of -",
                f"write {token.text}_{rest}",
                token.column,
            )

    def _in_state(self) -> InState:
        remedy = "write in_state(state) or in_state(state, other_state)"
        self._require("(", remedy)
        names: list[str] = []
        while not names or self._accept(","):
            token = self._advance()
            if token.kind != "word" or token.text in RESERVED:
                raise ExpressionError(str(token), "the name of a state", remedy, token.column)
            self._refuse_hyphen(token)
            names.append(token.text)
        self._require(")", remedy)
        return InState(tuple(names))


def _integer(token: Token) -> int:
    return int(token.text.replace("_", ""), 16 if token.text.startswith("0x") else 10)
