"""Finds what shows each row, and each part of a condition or of a test in an action: a memory and
inputs.

The search runs on the compiled sequencer; what the vectors must give is computed by the Python
reference.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from gainwright.language.model import Trial
from gainwright_codegen.bundle.golden.choices import Choices
from gainwright_codegen.bundle.golden.decisions import Decisions
from gainwright_codegen.bundle.golden.explorer import Explorer
from gainwright_codegen.bundle.golden.sample import Sample
from gainwright_codegen.bundle.golden.samples import Sampler


@dataclass(frozen=True, slots=True)
class Found:
    """Samples, and the rows that they take (ids, in the trial's order)."""

    samples: tuple[tuple[int, Sample], ...]
    """Row numbers, and single ticks that take them from some memory."""
    rows: tuple[str, ...]


def find_samples(trial: Trial, seed: int = 1) -> Found:
    """Search samples; the same trial and seed give the same result.

    Raises:
        InputError: the sequencer of the trial cannot be compiled.
    """
    explorer, source = Explorer(trial), random.Random(seed)
    sampler = Sampler(trial, explorer, source)
    samples = tuple(sampler.row_samples())
    samples += tuple(Decisions(trial, explorer, sampler).samples(samples))
    samples += tuple(Choices(trial, explorer, sampler).samples(samples))
    taken = {number for number, _ in samples}
    ids = tuple(row.id for number, row in enumerate(trial.rows) if number in taken)
    return Found(samples, ids)
