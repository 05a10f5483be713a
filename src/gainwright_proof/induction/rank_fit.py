"""Fits ranks to ticks by linear programming: the least greatest rank, then the simplest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import accumulate

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from gainwright_proof.induction.ranking import (
    Feature,
    Ranks,
    StateRank,
    Term,
    Values,
    feature_function,
)

MOST_FACTOR = 1e7
Allowed = tuple[np.ndarray, np.ndarray]
"""Least and most of each unknown."""
FIRST_ROWS = 400
MORE_ROWS = 60
TOLERANCE = 1e-6
ROUNDING = 1e-3
"""A least greatest rank so little above a whole number is that number."""
CONSTANT_COST = 1e-3


class NoRankError(Exception):
    """No rank of this form falls with every tick."""


@dataclass
class _Rows:
    """Inequalities ``row . unknowns >= bound`` that ranks have to satisfy."""

    rows: list[np.ndarray] = field(default_factory=list)
    bounds: list[float] = field(default_factory=list)
    known: set[bytes] = field(default_factory=set)

    def add(self, row: np.ndarray, bound: float) -> None:
        key = row.tobytes() + bytes([int(bound) + 1])
        if key not in self.known:
            self.known.add(key)
            self.rows.append(row)
            self.bounds.append(bound)

    def arrays(self) -> tuple[np.ndarray, np.ndarray]:
        return np.array(self.rows), np.array(self.bounds)


class RankFit:
    """Collects moments and ticks and gives ranks that fit all of them."""

    def __init__(self, features_by_state: Mapping[str, Sequence[Feature]]) -> None:
        self._features = {state: list(f) for state, f in features_by_state.items()}
        self._values = {state: feature_function(f) for state, f in self._features.items()}
        widths = [1 + len(listed) for listed in self._features.values()]
        self._first = dict(zip(self._features, accumulate(widths, initial=0), strict=False))
        self._count = sum(widths) + 1
        self._inequalities = _Rows()
        self._active = np.zeros(0, dtype=bool)
        """The inequalities that mattered so far: few of many do."""
        # What a feature can add to the rank is its cost: small fractions of wide variables would
        # do instead of whole numbers otherwise. Constants hardly count.
        self._costs = np.full(self._count, CONSTANT_COST)
        for state, listed in self._features.items():
            first = self._first[state] + 1
            self._costs[first : first + len(listed)] = [max(1, f.largest) for f in listed]

    def add_start(self, state: str, values: Values) -> None:
        """A moment from which the time counts: its rank is at most the greatest."""
        row = -self._moment(state, values)
        row[-1] = 1
        self._inequalities.add(row, 0)

    def add_pending(self, state: str, values: Values) -> None:
        """A moment at which the goal is not reached: its rank is at least 1."""
        self._inequalities.add(self._moment(state, values), 1)

    def add_tick(self, source: str, before: Values, target: str, after: Values) -> None:
        """A tick after which the goal is not reached: the rank falls and is at least 1."""
        left = self._moment(target, after)
        self._inequalities.add(left, 1)
        self._inequalities.add(self._moment(source, before) - left, 1)

    def _moment(self, state: str, values: Values) -> np.ndarray:
        row = np.zeros(self._count)
        first = self._first[state]
        row[first] = 1
        row[first + 1 : first + 1 + len(self._features[state])] = self._values[state](values)
        return row

    def least_greatest(self) -> float:
        """Return a lower bound of the greatest rank; raises NoRankError."""
        if not self._inequalities.rows:
            return 0.0
        costs = np.zeros(self._count)
        costs[-1] = 1
        return float(self._solve(costs, self._any(MOST_FACTOR))[-1])

    @property
    def size(self) -> int:
        """Number of inequalities known so far."""
        return len(self._inequalities.rows)

    def fit(self, least_greatest: float, exact: bool) -> tuple[int, Ranks]:
        """Return the greatest rank and ranks, as simple as can be; raises NoRankError.

        Without ``exact`` the ranks may be rounded, so that some inequalities fail.
        """
        if not self._inequalities.rows:
            return 0, self._ranks(np.zeros(self._count))
        limit = float(np.ceil(least_greatest - ROUNDING))
        try:
            found = self._found(limit, exact)
        except NoRankError:
            # Whole numbers may need a little more.
            found = self._found(limit + 1, exact)
        whole = np.round(found)
        return int(whole[-1]), self._ranks(whole)

    def _found(self, limit: float, exact: bool) -> np.ndarray:
        return self._whole(limit) if exact else self._solve(self._costs, self._any(limit))

    def _whole(self, limit: float) -> np.ndarray:
        """Return whole numbers: of those that are not, the one that can add most to the rank is
        kept at the whole number next to it, or at the one on its other side, one after the other.

        So each takes few solutions, where branching on all of them may take hours.
        """
        allowed = self._any(limit)
        found = self._solve(self._costs, allowed)
        while True:
            broken = np.flatnonzero(np.abs(found - np.round(found)) > TOLERANCE)
            if not len(broken):
                return found
            order = broken[np.argsort(-self._costs[broken], kind="stable")]
            allowed, found = self._kept(allowed, [(int(i), float(found[i])) for i in order])

    def _kept(
        self, allowed: Allowed, values: Sequence[tuple[int, float]]
    ) -> tuple[Allowed, np.ndarray]:
        """Keep the first unknown that can be at a whole number beside its value."""
        for unknown, value in values:
            near = round(value)
            for whole in (near, near + 1 if value > near else near - 1):
                least, most = (bound.copy() for bound in allowed)
                least[unknown] = most[unknown] = whole
                with suppress(NoRankError):
                    return (least, most), self._solve(self._costs, (least, most))
        raise NoRankError

    def _any(self, limit: float) -> Allowed:
        """Allow every unknown all that is allowed to any, and the greatest rank up to a limit."""
        most = np.full(self._count, MOST_FACTOR)
        least = -most
        least[-1], most[-1] = 0, limit
        return least, most

    def _ranks(self, whole: np.ndarray) -> Ranks:
        found = {}
        for state, first in self._first.items():
            factors = whole[first + 1 : first + 1 + len(self._features[state])]
            terms = zip(self._features[state], factors, strict=True)
            found[state] = StateRank(
                int(whole[first]), tuple(Term(f, int(factor)) for f, factor in terms if factor)
            )
        return found

    def _solve(self, costs: np.ndarray, allowed: Allowed) -> np.ndarray:
        """Minimise the costs of the absolute unknowns, within what they are allowed.

        Inequalities are added until all are satisfied.
        """
        rows, bounds = self._inequalities.arrays()
        least, most = allowed
        # Each unknown is its positive less its negative part.
        split = np.hstack([rows, -rows])
        within = Bounds(
            np.concatenate([np.maximum(least, 0), np.maximum(-most, 0)]),
            np.concatenate([np.maximum(most, 0), np.maximum(-least, 0)]),
        )
        active = self._activated(len(rows))
        while True:
            result = milp(
                np.concatenate([costs, costs]),
                constraints=LinearConstraint(split[active], lb=bounds[active]),
                bounds=within,
            )
            if result.x is None:
                raise NoRankError
            found = result.x[: self._count] - result.x[self._count :]
            lacking = bounds - rows @ found
            lacking[active] = 0
            worst = np.argsort(-lacking, kind="stable")[:MORE_ROWS]
            worst = worst[lacking[worst] > TOLERANCE]
            if not len(worst):
                return found
            active[worst] = True

    def _activated(self, count: int) -> np.ndarray:
        """Return which of so many inequalities are looked at first."""
        new = count - len(self._active)
        if not len(self._active):
            self._active = np.zeros(count, dtype=bool)
            self._active[:: max(1, count // FIRST_ROWS)] = True
        elif new:
            self._active = np.concatenate([self._active, np.ones(new, dtype=bool)])
        return self._active
