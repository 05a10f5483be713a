"""What is run on every processor: self-test, adversarial control ticks, a walk over all rows."""

from __future__ import annotations

import hashlib
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from gainwright_codegen.crosscheck.emulator import Emulator
from gainwright_codegen.crosscheck.processor import Processor

_Call = tuple[str, tuple[int, ...]]
"""A function of the axis, and its arguments behind the axis itself."""
_NO_RESULT = ("gw_axis_find",)
CONTROL_TICKS = 2400
"""Enough for every kind of signal, and for pulses and block ends to meet."""
_PHASE_TICKS = 100
_PREPARED = {"bench_pulse": 160, "bench_order": 37, "bench_ends": 7}
"""What is called so many control ticks after each other: a pulse, orders of a search, and as much
as can end together."""
_MEASURING = {"bench_measure": CONTROL_TICKS, "bench_sum_ends": 7}
"""The same where the trial has the loop response measured: from its beginning, and as much as can
end together."""
_LIMIT, _WORD_HIGH, _WORD_LOW = 2**28 - 1, 2**31 - 1, -(2**31)
_SEED = 1
_FUNCTIONS = 9


@dataclass(frozen=True, slots=True)
class Sizes:
    """What the bench says of itself."""

    axis_bytes: int
    compared_bytes: int
    """Of these, without the pointer to the machine."""
    sequences: int
    control_ticks: int
    """Per sequencer tick."""


@dataclass(frozen=True, slots=True)
class Instructions:
    """Instructions of one function over many calls."""

    least: int
    typical: int
    """Median."""
    worst: int
    stack_bytes: int


@dataclass(frozen=True, slots=True)
class Costs:
    control: Instructions
    sequencer: Instructions
    where: tuple[tuple[str, int], ...]
    """Functions in which the instructions of a sequencer tick are, on average, largest first."""


def sizes(processor: Processor) -> Sizes:
    """Return the sizes of the image that a processor runs."""
    content = processor.memory(processor.address("bench_sizes"), 16)
    return Sizes(*(int.from_bytes(content[k : k + 4], "little") for k in range(0, 16, 4)))


def failures(processor: Processor) -> int:
    """Run the self-test; return how many golden vectors came out otherwise."""
    return processor.call("gw_selftest_run")


def digest(processor: Processor) -> str:
    """Run everything; return SHA-256 (hex) over every result and the memory of the axis.

    Without the pointer to the machine, which stands at its end, the bytes of a ``gw_axis`` are the
    same on every little-endian processor.
    """
    total, size = hashlib.sha256(), sizes(processor).compared_bytes
    axis = processor.address("bench_axis")
    for calls in _ticks(processor):
        for name, arguments in calls:
            result = processor.call(name, axis, *arguments)
            total.update((0 if name in _NO_RESULT else result).to_bytes(4, "little"))
            total.update(processor.memory(axis, size))
    return total.hexdigest()


def costs(emulator: Emulator) -> Costs:
    """Run everything on an emulated processor and count."""
    axis = emulator.address("bench_axis")
    counts: dict[str, list[int]] = {}
    stacks: dict[str, int] = {}
    inside = Counter[str]()
    for calls in _ticks(emulator):
        prepared = list(calls)
        emulator.paint_stack()
        count = 0
        for name, arguments in prepared:
            count += emulator.counted(name, axis, *arguments)[1]
            if name != "gw_axis_control_tick":
                inside.update(emulator.by_function())
        counts.setdefault(name, []).append(count)
        stacks[name] = max(stacks.get(name, 0), emulator.painted_over())
    control, sequencer = (_summary(counts[name], stacks[name]) for name in counts)
    return Costs(control, sequencer, _where(inside, len(counts["gw_axis_step"])))


def _where(inside: Counter[str], ticks: int) -> tuple[tuple[str, int], ...]:
    return tuple((name, round(count / ticks)) for name, count in inside.most_common(_FUNCTIONS))


def _summary(counts: list[int], stack_bytes: int) -> Instructions:
    ordered = sorted(counts)
    return Instructions(ordered[0], ordered[len(ordered) // 2], ordered[-1], stack_bytes)


def _ticks(processor: Processor) -> Iterator[Iterator[_Call]]:
    """Yield the calls of each tick, one after the other; what prepares a call is done before it.

    First control ticks, with pulses, with orders and with blocks that end, then sequencer ticks in
    their two halves, one for each golden sequence.
    """
    measuring = _MEASURING if processor.call("bench_measures") else {}
    for name, every in (_PREPARED | measuring).items():
        processor.call("bench_init")
        for tick, pair in enumerate(signals()):
            if tick % every == 0:
                processor.call(name, tick // every)
            yield iter((("gw_axis_control_tick", pair),))
    for number in range(sizes(processor).sequences):
        yield _sequencer_tick(processor, number)


def _sequencer_tick(processor: Processor, number: int) -> Iterator[_Call]:
    processor.call("bench_place", number)
    yield "gw_axis_find", (processor.address("bench_found"),)
    yield "gw_axis_step", (processor.address("bench_inputs"),)


def signals() -> Iterator[tuple[int, int]]:
    """Yield pairs of torque command and speed error: rest, square waves, noise, beyond all."""
    source = random.Random(_SEED)
    for tick in range(CONTROL_TICKS):
        high = tick % 8 < 4
        yield (
            (0, 0),
            (_LIMIT, -_LIMIT) if high else (-_LIMIT, _LIMIT),
            (source.randint(-(2**20), 2**20), source.randint(-(2**12), 2**12)),
            (source.randint(_WORD_LOW, _WORD_HIGH), source.randint(_WORD_LOW, _WORD_HIGH)),
            (_WORD_HIGH, _WORD_LOW) if tick % 2 else (_WORD_LOW, _WORD_HIGH),
        )[tick // _PHASE_TICKS % 5]
