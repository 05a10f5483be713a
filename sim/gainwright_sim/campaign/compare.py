"""What moved between two records of campaigns, axis by axis."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from gainwright_sim.rehearsal.compare import MOVED

Axis = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class FamilyDifference:
    """One family that both campaigns drew; an axis is the same if its two seeds are."""

    family: str
    axes: int
    """In both records."""
    outcomes: dict[str, int]
    """How often which outcome became which other, as "before -> after"."""
    limits_moved: int
    results_moved: int
    largest_result: tuple[float | None, float | None]
    """Result / exact limit, before and after."""
    moved: tuple[tuple[Axis, Axis], ...]
    """The axes whose outcome, limit or result moved."""


def family_differences(before: list[Axis], after: list[Axis]) -> list[FamilyDifference]:
    """Return one difference for each family with axes in both records."""
    earlier = {_key(axis): axis for axis in before}
    pairs: dict[str, list[tuple[Axis, Axis]]] = {}
    for axis in after:
        if _key(axis) in earlier:
            pairs.setdefault(axis["family"], []).append((earlier[_key(axis)], axis))
    return [_difference(family, both) for family, both in pairs.items()]


def _key(axis: Axis) -> tuple[Any, ...]:
    return axis["family"], axis["axis_seed"], axis["noise_seed"]


def _difference(family: str, pairs: list[tuple[Axis, Axis]]) -> FamilyDifference:
    outcomes = Counter(
        f"{one['outcome']} -> {other['outcome']}"
        for one, other in pairs
        if one["outcome"] != other["outcome"]
    )
    limits = [pair for pair in pairs if _moved(pair, "limit")]
    results = [pair for pair in pairs if _moved(pair, "result")]
    return FamilyDifference(
        family=family,
        axes=len(pairs),
        outcomes=dict(sorted(outcomes.items(), key=lambda item: (-item[1], item[0]))),
        limits_moved=len(limits),
        results_moved=len(results),
        largest_result=(_largest(pairs, 0), _largest(pairs, 1)),
        moved=tuple(
            pair
            for pair in pairs
            if pair[0]["outcome"] != pair[1]["outcome"] or pair in limits or pair in results
        ),
    )


def _moved(pair: tuple[Axis, Axis], name: str) -> bool:
    one, other = (axis[name] for axis in pair)
    if one is None or other is None:
        return one is not other
    return abs(other - one) > MOVED * abs(one)


def _largest(pairs: list[tuple[Axis, Axis]], place: int) -> float | None:
    shares = [pair[place]["result_share"] for pair in pairs]
    return max((share for share in shares if share is not None), default=None)
