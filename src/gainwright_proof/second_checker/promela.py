"""A trial as Promela, for a second model checker (``spin``) to judge the same requirements.

One stored state of the model is one (state, variables) of the trial: inputs, conditions and copies
of old values are ``hidden`` (not part of the stored state), and a tick is one ``atomic`` sequence:
the moment is judged, inputs are chosen, by their place in a table, and the rest follows. So the
count of stored states is the count of reachable (state, variables).

Which inputs are offered is a matter of choice, see :class:`Offer`. All else is independent of the
explorer: conditions, rows and requirements are translated from the specification as a whole, none
of them simplified for a state or row.

What is seen is asserted away once, under a name: a requirement that is violated, or reached if that
is asked, as ``broken_<id>`` or ``reached_<id>``; a table that is not single-hit as
``table_<state>``; a row that is taken as ``taken_<number>``; the premise of a requirement as
``seen_<number>_<number of the premise>``. Run with ``pan -c0``, so that the search goes on.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from enum import Enum

from gainwright.language.expression import Expression
from gainwright.language.model import Kind, Requirement, RequirementKind, Row, Signal, State, Trial
from gainwright_proof.exploration.vacuity import OVER_A_TICK, premises
from gainwright_proof.exploration.vectors import StateVectors
from gainwright_proof.second_checker.promela_expression import PromelaNames, promela_expression


class Offer(Enum):
    """Which inputs a state offers, from the most independent of the explorer to the fastest."""

    FREE = "free"
    """Every combination of the values that any input has in any of the vectors."""
    VALUATIONS = "valuations"
    """The vectors of the state: one for each way in which inputs can act on its conditions."""
    DISTINCT = "distinct"
    """Those of them that behave in different ways."""
    ENOUGH = "enough"
    """Those that do so where the variables are, in states whose situations are known."""


LONGEST_INLINE = 30_000
"""Characters after which a new part begins; the next statement may be long."""

_TYPES = (("bit", 0, 1), ("byte", 0, 255), ("short", -(2**15), 2**15 - 1))


def promela_model(
    trial: Trial,
    vectors: Sequence[StateVectors],
    *,
    offer: Offer = Offer.VALUATIONS,
    timed: str = "",
    judged: bool = True,
) -> str:
    """Return the text of a model.

    Args:
        trial: the trial.
        vectors: from :func:`gainwright_proof.exploration.vectors.vectors_by_state`.
        offer: which inputs to try.
        timed: id of a response or bounded requirement to judge too. Its time is then part of the
            stored state, so that their number is another one.
        judged: with requirements; without, the model is the bare machine.
    """
    return _Model(trial, vectors, offer, judged).text(timed)


class _Model:
    def __init__(
        self, trial: Trial, vectors: Sequence[StateVectors], offer: Offer, judged: bool
    ) -> None:
        self._trial = trial
        self._vectors = vectors
        self._offer = offer
        self._states = trial.index.states
        self._numbers = {row.id: number for number, row in enumerate(trial.rows)}
        self._requirements = trial.requirements if judged else ()
        prefixes: dict[str, str] = {}
        for prefix, items in (
            ("i", trial.inputs), ("b", trial.variables), ("o", trial.outputs),
            ("c", trial.conditions),
        ):  # fmt: skip
            prefixes |= {item.name: f"{prefix}_{item.name}" for item in items}
        after = {v.name: f"v_{v.name}" for v in trial.variables}
        after |= {o.name: f"n_{o.name}" for o in trial.outputs}
        self._tick = PromelaNames(prefixes.__getitem__, after.__getitem__, self._states)
        self._after = PromelaNames(
            after.__getitem__, after.__getitem__, self._states, state_now="state"
        )

    def text(self, timed: str) -> str:
        requirement = next((r for r in self._requirements if r.id == timed), None)
        lines = [
            f"/* Trial {self._trial.name}, SHA-256 {self._trial.digest}. */",
            *self._table_of_inputs(),
            *self._declarations(requirement),
            *self._inline("judge_moment", self._moment_lines(requirement)),
            *self._inline("judge_tick", self._tick_lines(requirement)),
            *self._inline("evaluate", self._condition_lines()),
            "",
            "active proctype trial()",
            "{",
            "  do",
            "  :: atomic {",
            *self._moment(),
            "    if",
        ]
        first = 0
        for state, chosen in zip(self._trial.states, self._vectors, strict=True):
            lines.append(f"    :: (state == {self._states[state.name]}) -> /* {state.name} */")
            lines += self._offer_lines(chosen, first)
            first += len(self._of_state(chosen))
        return "\n".join([*lines, "    fi;", *self._tick_of_all(), "  }", "  od", "}", ""])

    def _tick_of_all(self) -> Iterable[str]:
        """Tick and judge: one text for all states, as what spin makes of it is long.

        In parts, as it bears no long ``d_step``; the moments between are not stored.
        """
        yield "    d_step {"
        if self._offer is not Offer.FREE:
            yield "      take_inputs();"
        # Again: hidden, so on the way back from deeper down they are other ones.
        yield from self._copies()
        yield "      evaluate();"
        yield "    }"
        yield "    if"
        for state in self._trial.states:
            # Not the copy: it is hidden, so on the way back from deeper down it is another one.
            yield f"    :: d_step {{ (state == {self._states[state.name]}) -> /* {state.name} */"
            yield from self._output_lines(state, "o", self._tick)
            yield from self._table_lines(state)
            yield "    }"
        yield "    fi;"
        yield "    d_step { if :: (hits == 1) -> judge_tick() :: else fi }"

    def _copies(self) -> Iterable[str]:
        yield "      b_state = state;"
        yield from (f"      b_{v.name} = v_{v.name};" for v in self._trial.variables)

    def _moment(self) -> Iterable[str]:
        """Judge the moment, once for all inputs, which it does not read."""
        yield "    d_step {"
        yield from self._copies()
        if self._requirements:
            yield "      if"
            for state in self._trial.states:
                yield f"      :: (b_state == {self._states[state.name]}) ->"
                yield from self._output_lines(state, "o", self._tick)
            yield "      fi;"
        yield "      judge_moment();"
        yield "    }"

    def _offered(self) -> list[tuple[int, ...]]:
        return [vector for chosen in self._vectors for vector in self._of_state(chosen)]

    def _of_state(self, chosen: StateVectors) -> Sequence[tuple[int, ...]]:
        distinct = self._offer in (Offer.DISTINCT, Offer.ENOUGH)
        return chosen.vectors[: chosen.distinct] if distinct else chosen.vectors

    def _table_of_inputs(self) -> Iterable[str]:
        """A table, in parts as spin takes them, for what would be a statement for each number."""
        if self._offer is Offer.FREE:
            return
        rows = [f"  {', '.join(map(str, vector or (0,)))}," for vector in self._offered()]
        size = max(1, LONGEST_INLINE // max(map(len, rows), default=1))
        parts = [rows[first : first + size] for first in range(0, len(rows), size)]
        for number, part in enumerate(parts):
            yield f"c_decl {{ static const int offered_{number}[] = {{"
            yield from part
            yield "}; }"
        names = ", ".join(f"offered_{number}" for number, _ in enumerate(parts))
        yield f"c_decl {{ static const int *const offered[] = {{ {names} }}; }}"
        yield from self._tables_of_enough()
        yield "hidden int pick; /* Number of a row of that table. */"
        yield "inline take_inputs() {"
        width = max(1, len(self._trial.inputs))
        yield "  c_code {"
        yield f"    const int *row = offered[pick / {size}] + {width} * (pick % {size});"
        for number, signal in enumerate(self._trial.inputs):
            yield f"    i_{signal.name} = row[{number}];"
        yield "  };"
        yield "}"

    def _tables_of_enough(self) -> Iterable[str]:
        """For each situation of a state, which of its offers are enough there, and how many."""
        for chosen in self._vectors:
            if not self._situation(chosen):
                continue
            name, longest = f"enough_{self._states[chosen.state]}", max(map(len, chosen.enough))
            yield f"c_decl {{ static const short {name}_counts[] = {{"
            yield f"  {', '.join(str(len(numbers)) for numbers in chosen.enough)}"
            yield "}; }"
            rows = [f"  {{{', '.join(map(str, numbers))}}}," for numbers in chosen.enough]
            size = max(1, LONGEST_INLINE // max(map(len, rows)))
            parts = [rows[first : first + size] for first in range(0, len(rows), size)]
            for number, part in enumerate(parts):
                yield f"c_decl {{ static const short {name}_{number}[][{longest}] = {{"
                yield from part
                yield "}; }"
            names = ", ".join(f"{name}_{number}" for number, _ in enumerate(parts))
            yield f"c_decl {{ static const short (*const {name}[])[{longest}] = {{ {names} }}; }}"
            yield f"c_decl {{ static const int {name}_size = {size}; }}"

    def _declarations(self, timed: Requirement | None) -> Iterable[str]:
        yield f"byte state = {self._states[self._trial.initial_state]};"
        for variable in self._trial.variables:
            yield f"{_type(variable)} v_{variable.name} = {variable.initial};"
        if timed is not None:
            yield "int elapsed = 0; /* 0: not running; else ticks since the trigger, plus 1. */"
        scratch = ["r", "hits", "b_state", *(f"b_{v.name}" for v in self._trial.variables)]
        scratch += [f"i_{signal.name}" for signal in self._trial.inputs]
        scratch += [f"{p}_{output.name}" for output in self._trial.outputs for p in "on"]
        yield from (f"hidden int {name};" for name in scratch)
        flags = [f"c_{condition.name}" for condition in self._trial.conditions]
        flags += ["begun", *(flag_of(requirement) for requirement in self._requirements)]
        flags += [f"table_{state.name}" for state in self._trial.states]
        flags += [taken(number) for number, _ in enumerate(self._trial.rows)]
        flags += [flag for flag, _, _ in self._premises()]
        kinds = [requirement.kind in OVER_A_TICK for _, requirement, _ in self._premises()]
        for over_a_tick in (False, True):
            yield f"hidden int {_left_over(over_a_tick)} = {kinds.count(over_a_tick)};"
        yield from (f"hidden byte {name};" for name in flags)

    @staticmethod
    def _inline(name: str, lines: Iterable[str]) -> list[str]:
        """Return an inline of spin; a long one in parts, since spin takes 64 KiB at most."""
        parts = list(_parts(lines, LONGEST_INLINE))
        if len(parts) < 2:
            return _one_inline(name, [line for part in parts for line in part])
        calls = [f"{name}_{number}();" for number, _ in enumerate(parts)]
        text = [
            line
            for number, part in enumerate(parts)
            for line in _one_inline(f"{name}_{number}", part)
        ]
        return [*text, *_one_inline(name, calls)]

    def _moment_lines(self, timed: Requirement | None) -> Iterable[str]:
        """Judge the moment before a tick; so every reachable moment has its turn."""
        for requirement in self._requirements:
            formula = promela_expression(requirement.formula, self._tick)
            if requirement.kind is RequirementKind.INITIAL:
                # Hidden and never taken back: the search begins at the first moment.
                yield _reporting(flag_of(requirement), f"!begun && !{formula}")
            elif requirement.kind is RequirementKind.INVARIANT:
                yield _reporting(flag_of(requirement), f"!{formula}")
            elif requirement.kind is RequirementKind.REACHABLE:
                yield _reporting(flag_of(requirement), formula)
        yield from self._premise_lines(over_a_tick=False)
        yield "begun = 1;"
        if timed is not None and timed.kind is RequirementKind.BOUNDED:
            assert timed.trigger is not None
            formula = promela_expression(timed.formula, self._tick)
            trigger = promela_expression(timed.trigger, self._tick)
            late = f"elapsed > {timed.later_ticks}"
            yield from _timing(timed, formula, trigger, late)

    def _tick_lines(self, timed: Requirement | None) -> Iterable[str]:
        for requirement in self._requirements:
            if requirement.kind is RequirementKind.STEP:
                formula = promela_expression(requirement.formula, self._tick)
                yield _reporting(flag_of(requirement), f"!{formula}")
        yield from self._premise_lines(over_a_tick=True)
        if timed is not None and timed.kind is RequirementKind.RESPONSE:
            assert timed.trigger is not None
            formula = promela_expression(timed.formula, self._after)
            trigger = promela_expression(timed.trigger, self._tick)
            late = f"elapsed > {timed.later_ticks}"
            yield from _timing(timed, formula, trigger, late)

    def _condition_lines(self) -> Iterable[str]:
        for condition in self._trial.conditions:
            yield f"c_{condition.name} = {promela_expression(condition.expression, self._tick)};"

    def _premises(self) -> Iterable[tuple[str, Requirement, Expression]]:
        for number, requirement in enumerate(self._requirements):
            for part, premise in enumerate(premises(requirement)):
                yield seen(number, part), requirement, premise

    def _premise_lines(self, over_a_tick: bool) -> Iterable[str]:
        """Report each premise once; when all of a kind were, none is looked at any more."""
        left = _left_over(over_a_tick)
        yield f"if :: ({left} > 0) ->"
        for flag, requirement, premise in self._premises():
            if (requirement.kind in OVER_A_TICK) is over_a_tick:
                formula = promela_expression(premise, self._tick)
                yield _reporting(flag, formula, f"{left} = {left} - 1; ")
        yield "skip :: else fi;"

    def _offer_lines(self, chosen: StateVectors, first: int) -> Iterable[str]:
        names = [signal.name for signal in self._trial.inputs]
        if self._offer is Offer.FREE:
            for number, name in enumerate(names):
                values = sorted({v[number] for s in self._vectors for v in s.vectors})
                options = " ".join(f":: i_{name} = {value}" for value in values)
                yield f"    if {options} fi;"
            return
        yield "    if"
        if situation := self._situation(chosen):
            yield from self._enough_lines(chosen, first, situation)
        else:
            for number, _ in enumerate(self._of_state(chosen), first):
                yield f"    :: pick = {number}"
        yield "    fi;"

    def _situation(self, chosen: StateVectors) -> str:
        """Return the number of a state's situation as C, told from what the search takes back;
        empty where all that is distinct is offered."""
        if self._offer is not Offer.ENOUGH or chosen.situations is None:
            return ""
        now = PromelaNames(lambda name: f"now.v_{name}", lambda name: "", self._states)
        features = [promela_expression(feature, now) for feature in chosen.situations.features]
        if any("->" in feature for feature in features):
            return ""  # A choice is written in another way in C.
        bits = [f"{feature} << {bit}" for bit, feature in enumerate(features)]
        return f"({' | '.join(bits) or '0'})"

    def _enough_lines(self, chosen: StateVectors, first: int, situation: str) -> Iterable[str]:
        name = f"enough_{self._states[chosen.state]}"
        for place in range(max(map(len, chosen.enough))):
            yield f"    :: d_step {{ c_expr {{ {place} < {name}_counts[{situation}] }} ->"
            row = f"{name}[{situation} / {name}_size][{situation} % {name}_size]"
            yield f"      c_code {{ pick = {first} + {row}[{place}]; }} }}"

    def _table_lines(self, state: State) -> Iterable[str]:
        rows = self._trial.rows_by_state[state.name]
        yield f"      hits = {' + '.join(f'({_cube(row)})' for row in rows) or '0'};"
        yield f"      {_reporting(f'table_{state.name}', '(hits != 1)')}"
        yield "      if"
        for row in rows:
            yield f"      :: (hits == 1) && ({_cube(row)}) ->"
            yield from self._row_lines(row)
        yield "      :: (hits != 1) -> skip"
        yield "      fi"

    def _row_lines(self, row: Row) -> Iterable[str]:
        yield f"        {_reporting(taken(self._numbers[row.id]), '1')}"
        ranges = {variable.name: variable for variable in self._trial.variables}
        for name, value in row.actions.items():
            variable = ranges[name]
            yield f"        r = {promela_expression(value, self._tick)};"
            low, high = variable.low, variable.high
            yield f"        v_{name} = (r < ({low}) -> ({low}) : (r > ({high}) -> ({high}) : r));"
        yield f"        state = {self._states[row.target]};"
        target = next(state for state in self._trial.states if state.name == row.target)
        yield from self._output_lines(target, "n", self._after)

    def _output_lines(self, state: State, prefix: str, names: PromelaNames) -> Iterable[str]:
        if self._requirements:
            for output in self._trial.outputs:
                value = promela_expression(state.value_of(output), names)
                yield f"      {prefix}_{output.name} = {value};"


def _one_inline(name: str, lines: Sequence[str]) -> list[str]:
    return ["", f"inline {name}() {{", *(f"  {line}" for line in lines or ["skip"]), "}"]


def _parts(lines: Iterable[str], longest: int) -> Iterator[list[str]]:
    """Yield groups of whole statements with about so many characters at most."""
    part, depth = list[str](), 0
    for line in lines:
        part.append(line)
        depth += len(re.findall(r"\bif\b", line)) - len(re.findall(r"\bfi\b", line))
        if depth == 0 and sum(map(len, part)) > longest:
            yield part
            part = []
    if part:
        yield part


def _type(signal: Signal) -> str:
    if signal.kind is Kind.BOOLEAN:
        return "bit"
    fitting = (name for name, low, high in _TYPES if low <= signal.low and signal.high <= high)
    return next(fitting, "int")


def _cube(row: Row) -> str:
    literals = [f"c_{name}" for name in row.when] + [f"!c_{name}" for name in row.unless]
    return " && ".join(literals) or "1"


def taken(row: int) -> str:
    """Return the name under which is reported that a row is taken, by its number."""
    return f"taken_{row}"


def seen(requirement: int, premise: int) -> str:
    """Return the name under which is reported that a premise occurs, by their numbers."""
    return f"seen_{requirement}_{premise}"


def flag_of(requirement: Requirement) -> str:
    """Return the name under which is reported that a requirement is broken, or reached."""
    reach = requirement.kind is RequirementKind.REACHABLE
    return f"{'reached' if reach else 'broken'}_{requirement.id}"


def asserts(model: str, requirement: Requirement) -> bool:
    """Return whether a model has an assertion about a requirement."""
    return f"assert(!{flag_of(requirement)})" in model


def _left_over(over_a_tick: bool) -> str:
    return f"unseen_{'ticks' if over_a_tick else 'moments'}"


def _reporting(flag: str, condition: str, also: str = "") -> str:
    """Return a statement that asserts, once in the whole search, that a condition does not hold.

    Flags are hidden, so the search does not take them back; the name shows in the message.
    """
    return f"if :: (!{flag} && {condition}) -> {flag} = 1; {also}assert(!{flag}) :: else fi;"


def _timing(timed: Requirement, formula: str, trigger: str, late: str) -> Iterable[str]:
    yield f"if :: {formula} -> elapsed = 0"
    yield f"   :: (!{formula} && (elapsed > 0 || {trigger})) -> elapsed = elapsed + 1"
    yield "   :: else fi;"
    yield _reporting(flag_of(timed), f"({late})")
    yield f"if :: ({late}) -> elapsed = 0 :: else fi;"
