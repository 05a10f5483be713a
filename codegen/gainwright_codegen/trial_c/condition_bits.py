"""Which conditions each state looks at, and the bit that each of them has.

A tick evaluates what most states look at, and what the rows of the present state look at besides.
States that look at much the same evaluate all of it, by the same code: what no row of a state names
its rows do not see. Conditions that no state looks at together share a bit, so that the masks of a
row are narrow.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from gainwright.language.expression import references
from gainwright.language.model import Trial


@dataclass(frozen=True, slots=True)
class ConditionBits:
    """Of one trial."""

    common: tuple[str, ...]
    """Conditions that every state evaluates, as at least half of them look at each."""
    own: Mapping[str, tuple[str, ...]]
    """By state: what its rows and their actions name besides, and those of states that look at much
    the same, in the order of the file."""
    place: Mapping[str, int]
    """By condition: its bit; 0 for one that no state looks at."""

    @property
    def width(self) -> int:
        """How many bits there are, at least 1."""
        return 1 + max(self.place.values(), default=0)

    @property
    def used(self) -> frozenset[str]:
        """Conditions that some state looks at."""
        return frozenset(self.common).union(*self.own.values())

    def looked_at(self, state: str) -> tuple[str, ...]:
        """Return the conditions that a state evaluates."""
        return (*self.common, *self.own[state])


def condition_bits(trial: Trial) -> ConditionBits:
    """Return the bits of a trial; those that most states look at come first."""
    named = {state.name: _looked_at(trial, state.name) for state in trial.states}
    looked_at = _with_similar(trial, named)
    users = {
        condition.name: frozenset(s for s, names in looked_at.items() if condition.name in names)
        for condition in trial.conditions
    }
    common = tuple(name for name in users if 2 * len(users[name]) >= len(looked_at))
    states = users | dict.fromkeys(common, frozenset(looked_at))
    own = {s: tuple(n for n in names if n not in common) for s, names in looked_at.items()}
    return ConditionBits(common, own, _places(states))


def _with_similar(
    trial: Trial, looked_at: Mapping[str, tuple[str, ...]]
) -> dict[str, tuple[str, ...]]:
    """Join states that have more than half of all that they look at in common."""
    groups = list[tuple[set[str], set[str]]]()
    for state, names in looked_at.items():
        for members, together in groups:
            if 2 * len(together & {*names}) > len(together | {*names}):
                members.add(state)
                together |= {*names}
                break
        else:
            groups.append(({state}, {*names}))
    order = [c.name for c in trial.conditions]
    joined = {state: names for members, names in groups for state in members}
    return {state: tuple(n for n in order if n in joined[state]) for state in looked_at}


def _places(states: Mapping[str, frozenset[str]]) -> dict[str, int]:
    """Give each condition the first bit that none of its states has for another."""
    place = dict.fromkeys(states, 0)
    taken: list[set[str]] = []
    for name in sorted(states, key=lambda name: -len(states[name])):
        if states[name]:
            free = (k for k, others in enumerate(taken) if not others & states[name])
            place[name] = next(free, len(taken))
            if place[name] == len(taken):
                taken.append(set())
            taken[place[name]] |= states[name]
    return place


def _looked_at(trial: Trial, state: str) -> tuple[str, ...]:
    names: set[str] = set()
    for row in trial.rows_by_state[state]:
        names |= {*row.when, *row.unless}
        for expression in row.actions.values():
            names |= references(expression)
    return tuple(c.name for c in trial.conditions if c.name in names)
