"""Which variables can matter to a requirement, and the trial without the others.

What decides the next state matters to every requirement: the variables that rows look at, and
whatever their new values are made of. So do the variables that the requirement itself reads. A
variable beyond these may have any value without a tick going another way; the trial without it
takes the same rows, gives the variables that are left the same values, and the requirement the same
verdict. Results that are only kept and shown would multiply the states of a search.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from gainwright.language.expression import Expression, references
from gainwright.language.model import Output, Requirement, Row, Trial
from gainwright_proof.exploration.specialise import Specialiser


@dataclass(frozen=True, slots=True)
class Slice:
    """A trial without some variables, with the requirements to which these cannot matter."""

    trial: Trial
    without: tuple[str, ...]
    """Variables that are left out, in the order of the trial."""


class Influence:
    """Finds what the parts of a trial depend on."""

    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._specialiser = Specialiser(trial)
        self._variables = frozenset(variable.name for variable in trial.variables)
        self._outputs = {output.name: output for output in trial.outputs}
        conditions = dict.fromkeys(n for row in trial.rows for n in (*row.when, *row.unless))
        read = (self._specialiser.condition(name) for name in conditions)
        self.control = self.closed(frozenset().union(*map(self.read, read)))
        """Variables on which it depends which row is taken, now or later."""

    def slices(self) -> list[Slice]:
        """Return the slices that together have all requirements, the smallest first.

        The first has what decides about rows, whether or not a requirement needs no more.
        """
        groups: dict[frozenset[str], list[Requirement]] = {self.control: []}
        for requirement in self._trial.requirements:
            groups.setdefault(self.of(requirement), []).append(requirement)
        order = sorted(groups.items(), key=lambda item: (len(item[0]), sorted(item[0])))
        return [self._slice(kept, requirements) for kept, requirements in order]

    def of(self, requirement: Requirement) -> frozenset[str]:
        """Return the variables that can matter to a requirement."""
        read = self.read(requirement.formula)
        if requirement.trigger is not None:
            read |= self.read(requirement.trigger)
        return self.control | self.closed(read)

    def closed(self, names: frozenset[str]) -> frozenset[str]:
        """Return variables with all that their new values are made of."""
        waiting, found = list(names), set(names)
        while waiting:
            name = waiting.pop()
            for row in self._trial.rows:
                if name in row.actions:
                    new = self.read(row.actions[name]) - found
                    found |= new
                    waiting += new
        return frozenset(found)

    def read(self, expression: Expression) -> frozenset[str]:
        """Return the variables that an expression reads, through conditions and outputs too."""
        names = references(self._specialiser.expanded(expression))
        values = (v for name in names & self._outputs.keys() for v in self._values(name))
        through = frozenset[str]().union(*map(references, values))
        return (names | through) & self._variables

    def _values(self, output: str) -> Iterator[Expression]:
        return (state.value_of(self._outputs[output]) for state in self._trial.states)

    def _slice(self, kept: frozenset[str], requirements: Iterable[Requirement]) -> Slice:
        trial = self._trial
        shown = [o for o in trial.outputs if self.shown(o) <= kept]
        names = {output.name for output in shown}

        def row(old: Row) -> Row:
            return replace(old, actions={n: v for n, v in old.actions.items() if n in kept})

        return Slice(
            replace(
                trial,
                variables=tuple(v for v in trial.variables if v.name in kept),
                outputs=tuple(shown),
                conditions=tuple(c for c in trial.conditions if self.read(c.expression) <= kept),
                states=tuple(
                    replace(s, outputs={n: v for n, v in s.outputs.items() if n in names})
                    for s in trial.states
                ),
                rows=tuple(row(r) for r in trial.rows),
                requirements=tuple(requirements),
                stages=(),
                equivalent_mutants=(),
            ),
            tuple(v.name for v in trial.variables if v.name not in kept),
        )

    def shown(self, output: Output) -> frozenset[str]:
        """Return the variables that an output is made of, in any state."""
        return frozenset[str]().union(*(self.read(v) for v in self._values(output.name)))
