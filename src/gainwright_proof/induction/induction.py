"""Finds the largest inductive part of a set of candidate facts, row by row.

A fact belongs to a state: whenever the trial is in the state, the fact holds. Candidates that fail
after power-on, or after a tick from a moment where all candidates hold, are dropped until none
fails. What remains does not depend on the order (it is the union of all inductive subsets).
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import accumulate

import z3

from gainwright.language.expression import Boolean, Expression, references
from gainwright.language.model import Row, Trial
from gainwright.semantics.python_code import CodeWriter
from gainwright_proof.induction.effort import Budget
from gainwright_proof.induction.switchboard import Switchboard
from gainwright_proof.induction.terms import StepTerms, number
from gainwright_proof.induction.vocabulary import Chain

Facts = Mapping[str, Sequence[Expression]]
"""State name to formulas over variables that hold in it."""


Chains = Mapping[str, Sequence[Chain]]
"""State name to chains of candidates."""
Link = tuple[int, int]
"""Number of a chain of a state and of a formula in it."""


@dataclass(slots=True)
class _Pool:
    """The candidates of one state: of each chain, the strongest link not dropped yet."""

    chains: list[Chain]
    terms: list[list[z3.BoolRef]]
    starts: list[int]
    """Number of the first link of each chain among all links."""
    heads: dict[int, int]
    """Chain to its first link alive; a chain with none is absent."""

    def alive(self) -> list[Link]:
        return list(self.heads.items())

    def expression(self, link: Link) -> Expression:
        return self.chains[link[0]][link[1]]

    def term(self, link: Link) -> z3.BoolRef:
        return self.terms[link[0]][link[1]]


class Induction:
    """The candidates of all states and the rows that can still break them."""

    def __init__(
        self,
        trial: Trial,
        terms: StepTerms,
        known: Facts,
        candidates: Chains,
        budget: Budget,
        least_reasons: bool = True,
    ) -> None:
        """``known`` facts are inductive already; candidates may rest on them.

        The largest inductive part is the same without ``least_reasons``, :meth:`support` is not.

        Whatever asks the solver raises OutOfEffortError where the budget does not suffice.
        """
        self._trial = trial
        self._terms = terms
        self._solvers = {
            s.name: Switchboard(
                [terms.ranges, *terms.formulas(known.get(s.name, ()))], budget, least_reasons
            )
            for s in trial.states
        }
        self._pools = {s.name: self._pool(candidates.get(s.name, ())) for s in trial.states}
        writer = CodeWriter([], ())
        self._check = {
            state: writer.function([link for chain in pool.chains for link in chain])
            for state, pool in self._pools.items()
        }
        self._check_known = {
            state: writer.function(list(known.get(state, ()))) for state in self._pools
        }
        self._rests_on: dict[str, frozenset[Link]] = {}
        """Row id to the links of its source that its last answer needed."""
        self._waiting = dict.fromkeys(row.id for row in trial.rows)
        initial = {variable.name: variable.initial for variable in trial.variables}
        self.drop(trial.initial_state, initial)

    def _pool(self, candidates: Sequence[Chain]) -> _Pool:
        distinct = [c for c in dict.fromkeys(candidates) if not isinstance(c[0], Boolean)]
        terms = iter(self._terms.formulas([link for chain in distinct for link in chain]))
        return _Pool(
            distinct,
            [[next(terms) for _ in chain] for chain in distinct],
            list(accumulate((len(chain) for chain in distinct), initial=0)),
            dict.fromkeys(range(len(distinct)), 0),
        )

    def holds(self, state: str, values: Mapping[str, int]) -> bool:
        """Return whether the facts known and the candidates left hold with the given values."""
        pool = self._pools[state]
        booleans = self._check[state](values, 0, {}, 0)
        return all(booleans[pool.starts[index] + head] for index, head in pool.alive()) and all(
            self._check_known[state](values, 0, {}, 0)
        )

    def drop(self, state: str, values: Mapping[str, int]) -> None:
        """Drop the candidates of a state that fail with the given values of the variables.

        The values must follow by a tick from a moment where all candidates held.
        """
        pool = self._pools[state]
        booleans = self._check[state](values, 0, {}, 0)
        for index, head in pool.alive():
            first = pool.starts[index]
            if booleans[first + head]:
                continue
            self._unsettle(state, (index, head))
            links = range(head + 1, len(pool.chains[index]))
            weaker = next((link for link in links if booleans[first + link]), None)
            if weaker is None:
                del pool.heads[index]
            else:
                pool.heads[index] = weaker

    def _unsettle(self, state: str, link: Link) -> None:
        """Ask again about the rows whose last answer rested on a link that is dropped."""
        for row in self._trial.rows_by_state[state]:
            if link in self._rests_on.get(row.id, ()):
                self._waiting[row.id] = None

    def largest_inductive(self) -> dict[str, list[Expression]]:
        """Return, for each state, the candidates that hold for ever."""
        rows = {row.id: row for row in self._trial.rows}
        while self._waiting:
            row = rows[next(iter(self._waiting))]
            del self._waiting[row.id]
            self._weaken(row)
        return {
            state: [pool.expression(link) for link in pool.alive()]
            for state, pool in self._pools.items()
        }

    def _weaken(self, row: Row) -> None:
        """Drop the target's candidates that the row can break."""
        while breakable := self._breakable(row, self._pools[row.target].alive()):
            answer = self._broken(row, breakable)
            if isinstance(answer, frozenset):
                self._rests_on[row.id] = answer
                return
            self.drop(row.target, self._values_after(row, answer))

    def _broken(self, row: Row, links: Sequence[Link]) -> z3.ModelRef | frozenset[Link]:
        """Return a tick by the row after which a link of its target fails, or why there is none.

        The reason are the links of the source that exclude it.
        """
        source, target = self._pools[row.source], self._pools[row.target]
        formulas: list[tuple[Hashable, Callable[[], z3.BoolRef]]] = [
            (("before", link), partial(source.term, link)) for link in source.alive()
        ]
        formulas.append((("row", row.id), partial(self._terms.guard, row)))
        denials = [
            (("after", row.id, link), partial(self._denied_after, row, target.term(link)))
            for link in links
        ]
        answer = self._solvers[row.source].model(formulas, denials)
        if isinstance(answer, z3.ModelRef):
            return answer
        return frozenset(key[1] for key in answer if key[0] == "before")  # type: ignore[index]

    def _denied_after(self, row: Row, term: z3.BoolRef) -> z3.BoolRef:
        return z3.Not(self._terms.after(row, [term])[0])

    def _breakable(self, row: Row, links: Iterable[Link]) -> list[Link]:
        pool = self._pools[row.target]
        return [
            link
            for link in links
            if row.target != row.source or self._changes(row, pool.expression(link))
        ]

    def support(self, wanted: Facts) -> dict[str, list[Expression]]:
        """Return facts that include the wanted ones and are inductive on their own.

        To be asked when :meth:`largest_inductive` has run; the wanted facts are among its result.
        """
        kept: dict[str, dict[Link, None]] = {state: {} for state in self._pools}
        waiting = [
            (state, link)
            for state, facts in wanted.items()
            for link in self._pools[state].alive()
            if self._pools[state].expression(link) in facts
        ]
        for state, link in waiting:
            kept[state][link] = None
        while waiting:
            state, link = waiting.pop(0)
            for row in self._trial.rows:
                if row.target == state and self._breakable(row, [link]):
                    answer = self._broken(row, [link])
                    assert isinstance(answer, frozenset), "not inductive"
                    for new in sorted(answer - kept[row.source].keys()):
                        kept[row.source][new] = None
                        waiting.append((row.source, new))
        return {
            state: [self._pools[state].expression(link) for link in sorted(links)]
            for state, links in kept.items()
        }

    def _changes(self, row: Row, link: Expression) -> bool:
        return not references(link).isdisjoint(row.actions)

    def _values_after(self, row: Row, model: z3.ModelRef) -> dict[str, int]:
        assigned = self._terms.assigned(row)
        return {
            variable.name: number(
                model, assigned.get(variable.name, self._terms.constants[variable.name])
            )
            for variable in self._trial.variables
        }
