"""Finds inputs for which a row holds, where the sequencer stands now."""

from __future__ import annotations

import random

from gainwright_codegen.bundle.golden.domain import Domain, Inputs, changed_inputs
from gainwright_codegen.bundle.golden.explorer import Explorer

_TRIES = 60


def fulfil(
    explorer: Explorer, row: int, domain: Domain, inputs: Inputs, source: random.Random
) -> tuple[Inputs, bool]:
    """Return inputs that fulfil as many conditions of a row as were found, and if it holds now.

    The search begins with the given inputs and changes a few of them at a time.
    """
    cube = explorer.cubes[row]
    fewest = cube.violations(explorer.conditions(inputs))
    for _ in range(_TRIES):
        if fewest == 0:
            break
        other = changed_inputs(domain, inputs, source)
        violations = cube.violations(explorer.conditions(other))
        if violations <= fewest:
            inputs, fewest = other, violations
    return inputs, fewest == 0
