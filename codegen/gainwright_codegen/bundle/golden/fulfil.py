"""Finds values for which a row holds."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping

from gainwright.language.cube import Cube
from gainwright_codegen.bundle.golden.domain import changes


def fulfil(
    cube: Cube,
    conditions: Callable[[Mapping[int, int]], int],
    near: Mapping[int, tuple[int, ...]],
    values: list[int],
    source: random.Random,
    tries: int,
) -> bool:
    """Change values until they fulfil a row, as far as they are found; return if it holds.

    Args:
        cube: conditions of the row.
        conditions: sets signals by place and returns, as bits, what holds then; the other signals
            stay as they are.
        near: values to try by the place of each signal that the row reads.
        values: of all signals, as ``conditions`` has them; changed a few at a time, and kept where
            no more conditions are violated than before.
        source: of the changes.
        tries: most changes.
    """
    fewest = cube.violations(conditions({}))
    places = tuple(near)
    undone: dict[int, int] = {}
    for _ in range(tries):
        if fewest == 0:
            break
        drawn = changes(places, near, source)
        violations = cube.violations(conditions({**undone, **drawn}))
        if violations <= fewest:
            fewest, undone = violations, {}
            for place, value in drawn.items():
                values[place] = value
        else:
            undone = {place: values[place] for place in drawn}
    return fewest == 0
