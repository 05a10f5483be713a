"""Which combinations of conditions can really occur together.

Conditions are split into groups that share no name; each group is tried at the critical values of
the names it reads: for comparisons with constants, the constant and its neighbours, which is exact.
Comparisons between names or of sums are tried at the ends and critical values of all names in them;
there a combination may be missed, but none is invented. The proof decides those cases.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from gainwright.language.critical_values import critical_values
from gainwright.language.expression import references
from gainwright.language.model import Condition
from gainwright.language.scope import Bounds
from gainwright.semantics.evaluate import evaluate

MOST_COMBINATIONS = 1 << 12
"""Groups with more combinations of critical values are left to the solver."""


@dataclass(frozen=True, slots=True)
class Combination:
    """Boolean values of the conditions of one group, and values of names that cause them."""

    booleans: Mapping[str, bool]
    witness: Mapping[str, int]


@dataclass(slots=True)
class Attainable:
    """Finds and keeps the attainable combinations of groups of conditions."""

    conditions: Mapping[str, Condition]
    signals: Mapping[str, Bounds]
    """Inputs and variables."""
    _names: dict[str, frozenset[str]] = field(default_factory=dict)
    _found: dict[tuple[str, ...], list[Combination] | None] = field(default_factory=dict)

    def combinations(self, condition_names: Iterable[str]) -> list[list[Combination]] | None:
        """Return the attainable combinations of each independent group; None if too many."""
        result = []
        for group in self._groups(condition_names):
            if group not in self._found:
                self._found[group] = self._explored(group)
            found = self._found[group]
            if found is None:
                return None
            result.append(found)
        return result

    def _groups(self, condition_names: Iterable[str]) -> list[tuple[str, ...]]:
        groups: list[tuple[set[str], list[str]]] = []
        for condition in condition_names:
            names, members = set(self.leaves(condition)), [condition]
            for group in [g for g in groups if g[0] & names]:
                groups.remove(group)
                names |= group[0]
                members = group[1] + members
            groups.append((names, members))
        return [tuple(sorted(members)) for _, members in groups]

    def leaves(self, condition: str) -> frozenset[str]:
        """Return the inputs and variables that a condition reads, through other conditions too."""
        if condition not in self._names:
            direct = references(self.conditions[condition].expression)
            parts = [
                self.leaves(name) if name in self.conditions else frozenset({name})
                for name in direct
            ]
            self._names[condition] = frozenset().union(*parts)
        return self._names[condition]

    def needed(self, group: Iterable[str]) -> list[Condition]:
        """Return conditions and all that they read, in the order of the file."""
        waiting = list(group)
        needed = set(waiting)
        while waiting:
            direct = references(self.conditions[waiting.pop()].expression)
            new = (direct & self.conditions.keys()) - needed
            needed |= new
            waiting.extend(new)
        return [condition for name, condition in self.conditions.items() if name in needed]

    def _explored(self, group: tuple[str, ...]) -> list[Combination] | None:
        conditions = self.needed(group)
        names = sorted(frozenset().union(*(self.leaves(name) for name in group)))
        expressions = [condition.expression for condition in conditions]
        choices = [critical_values(name, expressions, self.signals) for name in names]
        if math.prod(map(len, choices)) > MOST_COMBINATIONS:
            return None
        found: dict[tuple[bool, ...], Combination] = {}
        for values in itertools.product(*choices):
            witness = dict(zip(names, values, strict=True))
            known = dict(witness)
            for condition in conditions:
                known[condition.name] = evaluate(condition.expression, known)
            key = tuple(bool(known[name]) for name in group)
            found.setdefault(key, Combination(dict(zip(group, key, strict=True)), witness))
        return [found[key] for key in sorted(found, key=lambda key: (sum(key), key))]
