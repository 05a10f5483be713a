"""Hypothesis strategy for small trials: random expressions, tables completed to be single-hit."""

from __future__ import annotations

from hypothesis import strategies as st

from gainwright.language.expression import Choice, Expression, Integer, Reference
from gainwright.language.model import (
    Condition,
    Kind,
    Output,
    Row,
    Signal,
    Stage,
    State,
    Trial,
    Variable,
)

from .random_trees import INT32_HIGH, INT32_LOW, boolean_trees, integer_trees

RANGES = [(0, 3), (-5, 5), (0, 1000), (-32768, 32767), (INT32_LOW, INT32_HIGH), (7, 7), (100, 200)]
_DEPTH = 2


@st.composite
def _signals(draw, prefix: str, least: int, most: int) -> tuple[Signal, ...]:
    found = []
    for number in range(draw(st.integers(least, most))):
        name = f"{prefix}{number}"
        if draw(st.booleans()):
            found.append(Signal(name, Kind.BOOLEAN, 0, 1, "", "*/ a boolean ??/"))
        else:
            low, high = draw(st.sampled_from(RANGES))
            found.append(Signal(name, Kind.INTEGER, low, high, "µm", "an \\integer/* \\"))
    return tuple(found)


def _as_boolean(name: str) -> Signal:
    return Signal(name, Kind.BOOLEAN, 0, 1, "", "")


@st.composite
def _conditions(draw, signals: dict[str, Signal]) -> tuple[Condition, ...]:
    readable, found = dict(signals), []
    # Above 32 the set of conditions needs 64 bits.
    count = draw(st.sampled_from([0, 1, 2, 3, 5, 31, 32, 33, 64]))
    for number in range(count):
        name = f"c{number}"
        depth = _DEPTH if number < 6 else 0
        found.append(Condition(name, draw(boolean_trees(readable, depth)), "a condition"))
        readable[name] = _as_boolean(name)
    return tuple(found)


@st.composite
def _cubes(draw, names: list[str], depth: int) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Cubes of which exactly one holds: the leaves of a decision tree."""
    if not names or depth == 0 or draw(st.booleans()):
        return [((), ())]
    name = draw(st.sampled_from(names))
    rest = [other for other in names if other != name]
    true = [((*when, name), unless) for when, unless in draw(_cubes(rest, depth - 1))]
    false = [(when, (*unless, name)) for when, unless in draw(_cubes(rest, depth - 1))]
    return [*true, *false]


def _expression(signal: Signal, readable: dict[str, Signal]) -> st.SearchStrategy[Expression]:
    make = boolean_trees if signal.kind is Kind.BOOLEAN else integer_trees
    return make(readable, _DEPTH)


@st.composite
def _actions(draw, variables, readable) -> dict[str, Expression]:
    chosen = [variable for variable in variables if draw(st.booleans())]
    return {variable.name: draw(_expression(variable, readable)) for variable in chosen}


@st.composite
def _variables(draw) -> tuple[Variable, ...]:
    return tuple(
        Variable(s.name, s.kind, s.low, s.high, s.unit, s.meaning, draw(st.integers(s.low, s.high)))
        for s in draw(_signals("v", 0, 4))
    )


@st.composite
def _outputs(draw, readable: dict[str, Signal]) -> tuple[Output, ...]:
    return tuple(
        Output(
            s.name, s.kind,
            *((0, 1) if s.kind is Kind.BOOLEAN else (INT32_LOW, INT32_HIGH)), "", "",
            draw(_expression(s, readable)),
        )
        for s in draw(_signals("o", 0, 3))
    )  # fmt: skip


@st.composite
def trials(draw) -> Trial:
    """A valid trial; nothing in it makes sense."""
    inputs, variables = draw(_signals("i", 0, 4)), draw(_variables())
    now = {signal.name: signal for signal in (*inputs, *variables)}
    kept = {variable.name: variable for variable in variables}
    conditions = draw(_conditions(now))
    outputs = draw(_outputs(kept))
    names = [f"s{number}" for number in range(draw(st.integers(1, 4)))]
    states, rows = [], []
    for name in names:
        overridden = [output for output in outputs if draw(st.booleans())]
        values = {output.name: draw(_expression(output, kept)) for output in overridden}
        states.append(State(name, "a state", True, values))
        for number, cube in enumerate(draw(_cubes([c.name for c in conditions], 3))):
            when, unless = cube
            target, actions = draw(st.sampled_from(names)), draw(_actions(variables, now))
            rows.append(Row(f"r{number}@{name}", name, when, unless, target, actions, "why"))
    # Rows of a state need not stand together in a file.
    return trial_of(inputs, outputs, variables, conditions, states, draw(st.permutations(rows)))


def trial_of(inputs=(), outputs=(), variables=(), conditions=(), states=(), rows=(), stages=()):
    """A trial of the given parts that begins in the first state."""
    return Trial(
        name="random", title="A random trial", tick_us=1000, initial_state=states[0].name,
        constants=(), inputs=tuple(inputs), outputs=tuple(outputs), variables=tuple(variables),
        conditions=tuple(conditions), states=tuple(states), rows=tuple(rows), hazards=(),
        requirements=(), stages=tuple(stages), digest="0" * 64,
    )  # fmt: skip


def counter_trial(**changes) -> Trial:
    """A minute trial written by hand: counts while told to, up to the end of its range."""
    count = Variable("count_up", Kind.INTEGER, 0, 5, "", "", 1)
    parts = {
        "inputs": (
            Signal("go", Kind.BOOLEAN, 0, 1, "", ""),
            Signal("by", Kind.INTEGER, -9, 9, "", ""),
        ),
        "outputs": (Output("shown", Kind.INTEGER, 0, 5, "", "", Reference("count_up")),),
        "variables": (count, Variable("previous", Kind.INTEGER, 0, 5, "", "", 0)),
        "conditions": (Condition("told", Reference("go"), ""),),
        "states": (State("only", "", True, {}),),
        "rows": (
            Row("count", "only", ("told",), (), "only", _COUNT, ""),
            Row("rest", "only", (), ("told",), "only", {}, ""),
        ),
    }
    return trial_of(**(parts | changes))


_COUNT: dict[str, Expression] = {
    "count_up": Choice(Reference("go"), Reference("by"), Integer(0)),
    "previous": Reference("count_up"),
}

__all__ = ["Stage", "counter_trial", "trial_of", "trials"]
