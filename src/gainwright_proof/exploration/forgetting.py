"""A trial that may do more, with few variables: what it always keeps to, the trial keeps to.

A variable that is forgotten is an input instead, with the same range: it may have any value at any
tick. A comparison that reads one is an input too, true or false as it likes. Whatever the trial
does, the one that forgets can do with the inputs that say what the trial's variables and
comparisons are in each tick. So an invariant, a step, a first moment or a longest time that is
proved of all its runs holds of the trial; that it breaks one says nothing, and neither does what it
can reach.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from gainwright.language.expression import (
    COMPARISONS,
    Binary,
    Expression,
    Reference,
    children,
    references,
    walk,
)
from gainwright.language.model import Kind, Requirement, RequirementKind, Signal, Trial
from gainwright_proof.exploration.rewrite import recombined, rewritten
from gainwright_proof.exploration.slices import Influence
from gainwright_proof.exploration.specialise import Specialiser


def must_be_kept(trial: Trial, requirement: Requirement) -> frozenset[str]:
    """Return the variables that a requirement reads at a moment, or after a tick."""
    influence, outputs = Influence(trial), trial.index.outputs.keys()
    parts = [requirement.formula, *([requirement.trigger] if requirement.trigger else [])]
    if requirement.kind is not RequirementKind.STEP:
        over_tick = requirement.kind is RequirementKind.RESPONSE
        moments = parts[:1] if over_tick else parts
        whole = frozenset[str]().union(*map(influence.read, moments))
    else:
        whole = frozenset()
    named = (
        part for tree in parts for part in walk(tree)
        if isinstance(part, Reference) and (part.after or part.name in outputs)
    )  # fmt: skip
    return whole.union(*(influence.read(Reference(part.name)) for part in named))


class Forgetting:
    """Makes one trial that forgets all variables but some."""

    def __init__(self, trial: Trial, kept: frozenset[str]) -> None:
        self._trial = trial
        self._kept = kept
        self._gone = trial.index.variables.keys() - kept
        self._influence = Influence(trial)
        self._specialiser = Specialiser(trial)
        self._free: dict[Expression, str] = {}

    def trial(self, requirements: Iterable[Requirement]) -> Trial:
        """Return the trial that forgets, with some requirements."""
        trial = self._trial
        shown = [o for o in trial.outputs if self._influence.shown(o) <= self._kept]
        names = {output.name for output in shown}
        changed = replace(
            trial,
            outputs=tuple(shown),
            variables=tuple(v for v in trial.variables if v.name in self._kept),
            conditions=tuple(
                replace(c, expression=self._free_of(self._specialiser.condition(c.name)))
                for c in trial.conditions
            ),
            states=tuple(
                replace(s, outputs={n: v for n, v in s.outputs.items() if n in names})
                for s in trial.states
            ),
            rows=tuple(
                replace(
                    row,
                    actions={n: self._read(v) for n, v in row.actions.items() if n in self._kept},
                )
                for row in trial.rows
            ),
            requirements=tuple(
                replace(
                    r,
                    formula=self._read(r.formula),
                    trigger=None if r.trigger is None else self._read(r.trigger),
                )
                for r in requirements
            ),
            stages=(),
            equivalent_mutants=(),
        )
        return replace(changed, inputs=(*trial.inputs, *self._more_inputs(changed)))

    def _more_inputs(self, changed: Trial) -> list[Signal]:
        trees = [c.expression for c in changed.conditions]
        trees += [value for row in changed.rows for value in row.actions.values()]
        trees += [r.formula for r in changed.requirements]
        trees += [r.trigger for r in changed.requirements if r.trigger is not None]
        read = frozenset[str]().union(*map(references, trees))
        forgotten = [
            Signal(v.name, v.kind, v.low, v.high, v.unit, v.meaning, enumeration=v.enumeration)
            for v in self._trial.variables if v.name in self._gone & read
        ]  # fmt: skip
        return forgotten + [
            Signal(name, Kind.BOOLEAN, 0, 1, "", "A comparison that reads what is forgotten")
            for name in self._free.values()
        ]

    def _read(self, expression: Expression) -> Expression:
        """Return an expression without names of conditions, and without what is forgotten."""
        names = self._trial.index.conditions

        def leaf(part: Expression) -> Expression:
            if isinstance(part, Reference) and part.name in names:
                return self._specialiser.condition(part.name)
            return part

        return self._free_of(rewritten(expression, leaf))

    def _free_of(self, expression: Expression) -> Expression:
        """Replace comparisons that read what is forgotten, the innermost first."""
        parts = children(expression)
        if parts:
            expression = recombined(expression, [self._free_of(part) for part in parts])
        compared = isinstance(expression, Binary) and expression.operator in COMPARISONS
        if compared and any(map(self._is_forgotten, walk(expression))):
            name = self._free.setdefault(expression, f"comparison_{len(self._free) + 1}")
            return Reference(name)
        return expression

    def _is_forgotten(self, part: Expression) -> bool:
        return isinstance(part, Reference) and not part.after and part.name in self._gone
