"""Finds values for which a row holds."""

from __future__ import annotations

import random
from collections.abc import Callable

from gainwright.language.cube import Cube
from gainwright_codegen.bundle.golden.domain import Domain, Inputs, changed_inputs


def fulfil(
    cube: Cube,
    conditions: Callable[[Inputs], int],
    domain: Domain,
    values: Inputs,
    source: random.Random,
    tries: int,
) -> tuple[Inputs, bool]:
    """Return values that fulfil as many conditions of a row as were found, and if it holds.

    The search begins with the given values and changes a few of them at a time; ``conditions``
    returns, as bits, what holds with values.
    """
    fewest = cube.violations(conditions(values))
    for _ in range(tries):
        if fewest == 0:
            break
        other = changed_inputs(domain, values, source)
        violations = cube.violations(conditions(other))
        if violations <= fewest:
            values, fewest = other, violations
    return values, fewest == 0
