"""Random small trials with requirements of every kind, from a plain seed; some are broken."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace

from gainwright.language.expression import (
    Binary,
    Boolean,
    Choice,
    Expression,
    InState,
    Integer,
    Operator,
    Reference,
    Unary,
)
from gainwright.language.model import (
    NEVER,
    Condition,
    Kind,
    Output,
    Requirement,
    RequirementKind,
    Row,
    Signal,
    State,
    Trial,
    Variable,
)

_COMPARISONS = (
    Operator.LESS, Operator.LESS_EQUAL, Operator.GREATER, Operator.GREATER_EQUAL, Operator.EQUAL,
    Operator.NOT_EQUAL,
)  # fmt: skip
_CONNECTIVES = (Operator.AND, Operator.OR, Operator.IMPLIES)
_INTEGER = (Operator.ADD, Operator.SUBTRACT, Operator.MINIMUM, Operator.MAXIMUM, Operator.MULTIPLY)

INPUTS = (
    Signal("go", Kind.BOOLEAN, 0, 1, "", ""),
    Signal("halt", Kind.BOOLEAN, 0, 1, "", ""),
    Signal("level", Kind.INTEGER, -1, 4, "", ""),
)
VARIABLES = (
    Variable("tally", Kind.INTEGER, 0, 4, "", "", 1),
    Variable("flag", Kind.BOOLEAN, 0, 1, "", "", 0),
    Variable("mark", Kind.INTEGER, -1, 2, "", "", 0),
)
STATES = ("one", "two", "three")


class Trees:
    """Random expressions over given signals; ``next`` too if asked for."""

    def __init__(
        self, source: random.Random, signals: Sequence[Signal], after: Sequence[Signal] = ()
    ) -> None:
        self._source = source
        self._leaves = [(s.kind, Reference(s.name)) for s in signals]
        self._leaves += [(s.kind, Reference(s.name, True)) for s in after]
        self._after = bool(after)
        self.with_states = False

    def _leaf(self, kind: Kind) -> Expression:
        fitting = [leaf for k, leaf in self._leaves if k is kind]
        if fitting and self._source.random() < 0.85:
            return self._source.choice(fitting)
        number = self._source.randint(-2, 5)
        return Integer(number) if kind is Kind.INTEGER else Boolean(number % 2 == 0)

    def integer(self, depth: int) -> Expression:
        draw = self._source.random()
        if depth == 0 or draw < 0.45:
            return self._leaf(Kind.INTEGER)
        if draw < 0.55:
            parts = (self.boolean(depth - 1), self.integer(depth - 1), self.integer(depth - 1))
            return Choice(*parts)
        operator = self._source.choice(_INTEGER)
        return Binary(operator, self.integer(depth - 1), self.integer(depth - 1))

    def boolean(self, depth: int) -> Expression:
        draw = self._source.random()
        if self.with_states and draw < 0.2:
            names = tuple(self._source.sample(STATES, self._source.randint(1, 2)))
            return InState(names, self._after and self._source.random() < 0.5)
        if depth == 0 or draw < 0.3:
            return self._leaf(Kind.BOOLEAN)
        if draw < 0.4:
            return Unary(Operator.NOT, self.boolean(depth - 1))
        if draw < 0.7:
            operator = self._source.choice(_COMPARISONS)
            return Binary(operator, self.integer(depth - 1), self.integer(depth - 1))
        operator = self._source.choice(_CONNECTIVES)
        return Binary(operator, self.boolean(depth - 1), self.boolean(depth - 1))


def _cubes(source: random.Random, names: list[str], depth: int) -> list[tuple[list, list]]:
    """Cubes of which exactly one holds: the leaves of a decision tree."""
    if depth == 0 or not names or source.random() < 0.15:
        return [([], [])]
    name = source.choice(names)
    rest = [other for other in names if other != name]
    true = [([*when, name], unless) for when, unless in _cubes(source, rest, depth - 1)]
    false = [(when, [*unless, name]) for when, unless in _cubes(source, rest, depth - 1)]
    return true + false


def _rows(source: random.Random, conditions: list[str], trees: Trees) -> list[Row]:
    rows = []
    for state in STATES:
        for number, (when, unless) in enumerate(_cubes(source, conditions, 3)):
            actions = {}
            for variable in VARIABLES:
                if source.random() < 0.4:
                    make = trees.boolean if variable.kind is Kind.BOOLEAN else trees.integer
                    actions[variable.name] = make(2)
            target = source.choice(STATES)
            rows.append(
                Row(f"{state}{number}", state, tuple(when), tuple(unless), target, actions, "")
            )
    return rows


def _requirements(source: random.Random, outputs: Sequence[Output]) -> list[Requirement]:
    kept = (*VARIABLES, *outputs)
    moment = Trees(source, kept)
    tick = Trees(source, (*INPUTS, *kept), kept)
    moment.with_states = tick.with_states = True
    before = Trees(source, (*INPUTS, *kept))
    made = []
    for number in range(2):
        made += [
            _requirement(f"invariant{number}", RequirementKind.INVARIANT, _mostly(moment)),
            _requirement(f"step{number}", RequirementKind.STEP, _mostly(tick)),
            _requirement(f"step_{number}", RequirementKind.STEP, _mostly(tick)),
            _requirement(f"reach{number}", RequirementKind.REACHABLE, moment.boolean(2)),
            _requirement(
                f"bounded{number}", RequirementKind.BOUNDED, moment.boolean(2), moment.boolean(1),
                source.randint(1, 5),
            ),
            _requirement(
                f"response{number}", RequirementKind.RESPONSE, moment.boolean(2), before.boolean(2),
                source.randint(1, 4),
            ),
        ]  # fmt: skip
    made += [
        _requirement(f"initial{number}", RequirementKind.INITIAL, moment.boolean(2))
        for number in range(3)
    ]
    return made


def _mostly(trees: Trees) -> Expression:
    """A formula that is true more often than a plain random one."""
    return Binary(Operator.IMPLIES, Binary(Operator.AND, trees.boolean(1), trees.boolean(1)),
                  trees.boolean(2))  # fmt: skip


def _requirement(name, kind, formula, trigger=None, within=NEVER) -> Requirement:
    return Requirement(name, "", "", kind, formula, trigger, within, "")


def random_trial(seed: int) -> Trial:
    """Return a small trial; one in three has a table with a gap or an overlap."""
    source = random.Random(seed)
    readable = [*INPUTS, *VARIABLES]
    conditions = []
    for number in range(source.randint(3, 5)):
        tree = Trees(source, readable).boolean(2)
        conditions.append(Condition(f"c{number}", tree, ""))
        readable.append(Signal(f"c{number}", Kind.BOOLEAN, 0, 1, "", ""))
    rows = _rows(source, [c.name for c in conditions], Trees(source, [*INPUTS, *VARIABLES]))
    fault = source.randrange(6)
    if fault == 0 and len(rows) > 3:
        del rows[source.randrange(1, len(rows))]
    elif fault == 1:
        row = source.choice(rows)
        rows.append(replace(row, id="again", when=row.when[:1], target="one"))
    kept = Trees(source, VARIABLES)
    outputs = (
        Output("alarm", Kind.BOOLEAN, 0, 1, "", "", kept.boolean(1)),
        Output("shown", Kind.INTEGER, -100, 100, "", "", Reference("tally")),
    )
    states = tuple(
        State(name, "", name == "three" or source.random() < 0.2, {"alarm": kept.boolean(1)})
        for name in STATES
    )
    return Trial(
        name=f"random{seed}", title="", tick_us=1000, initial_state="one", constants=(),
        inputs=INPUTS, outputs=outputs, variables=VARIABLES, conditions=tuple(conditions),
        states=states, rows=tuple(rows), hazards=(),
        requirements=tuple(_requirements(source, outputs)), stages=(), digest=f"{seed:064x}",
    )  # fmt: skip
