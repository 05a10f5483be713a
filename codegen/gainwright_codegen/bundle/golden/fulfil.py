"""Finds values for which demands hold."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping

from gainwright_codegen.bundle.golden.domain import changes

Violations = Callable[[Mapping[int, int]], int]
"""Sets signals by place and returns how many demands do not hold then; the others stay."""


def fulfil(
    violations: Violations,
    near: Mapping[int, tuple[int, ...]],
    values: list[int],
    source: random.Random,
    tries: int,
) -> bool:
    """Change values until they fulfil all demands, as far as they are found; return if they hold.

    Args:
        violations: of the demands.
        near: values to try by the place of each signal that the demands read.
        values: of all signals, as ``violations`` has them; changed a few at a time, and kept where
            no more demands are violated than before.
        source: of the changes.
        tries: most changes.
    """
    fewest = violations({})
    places = tuple(near)
    undone: dict[int, int] = {}
    for _ in range(tries):
        if fewest == 0:
            break
        drawn = changes(places, near, source)
        violated = violations({**undone, **drawn})
        if violated <= fewest:
            fewest, undone = violated, {}
            for place, value in drawn.items():
                values[place] = value
        else:
            undone = {place: values[place] for place in drawn}
    return fewest == 0
