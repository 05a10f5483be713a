"""A run from reset that shows something, as inputs; and its file, which replays anywhere.

The file is JSON with the format name ``gainwright-run``:

- ``format``, ``version``;
- ``trial``, ``digest``: the specification it belongs to;
- ``subject``: id of the requirement, or ``single_hit/<state>`` and the like;
- ``shows``: ``counterexample`` or ``witness``; it shows after the last tick;
- ``ticks``: length of the run;
- ``segments``: in order, ``ticks`` for which ``inputs`` (all of them, by name) are held.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gainwright.errors import InputError, input_error
from gainwright.language.model import Trial

FORMAT, VERSION = "gainwright-run", 1
COUNTEREXAMPLE, WITNESS = "counterexample", "witness"
REMEDY = "prove this trial with `gainwright prove --out DIR`, and take the run from there"


@dataclass(frozen=True, slots=True)
class HeldInputs:
    """The same inputs for a number of ticks, at least 1."""

    ticks: int
    inputs: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Run:
    """Inputs from reset on."""

    trial: str
    digest: str
    subject: str
    shows: str
    segments: tuple[HeldInputs, ...]

    @property
    def ticks(self) -> int:
        return sum(segment.ticks for segment in self.segments)

    def inputs_by_tick(self) -> Iterator[Mapping[str, int]]:
        """Yield the inputs of every tick."""
        for segment in self.segments:
            for _ in range(segment.ticks):
                yield segment.inputs

    def forced_inputs(self) -> tuple[tuple[int, int, str, int], ...]:
        """Return (first tick, tick after the last, input, value) stretches that force the run.

        For each input in turn, in the order of time: what a rehearsal overrides to go the same way.
        """
        names = self.segments[0].inputs if self.segments else {}
        return tuple(stretch for name in names for stretch in self._stretches(name))

    def _stretches(self, name: str) -> Iterator[tuple[int, int, str, int]]:
        start = tick = 0
        value: int | None = None
        for segment in self.segments:
            if segment.inputs[name] != value:
                if value is not None:
                    yield start, tick, name, value
                start, value = tick, segment.inputs[name]
            tick += segment.ticks
        if value is not None:
            yield start, tick, name, value


def run_of(trial: Trial, subject: str, shows: str, vectors: Iterable[Sequence[int]]) -> Run:
    """Return a run from one input vector per tick, in the order of the trial's inputs."""
    names = [signal.name for signal in trial.inputs]
    segments: list[tuple[int, Sequence[int]]] = []
    for vector in vectors:
        if segments and segments[-1][1] == vector:
            segments[-1] = (segments[-1][0] + 1, vector)
        else:
            segments.append((1, vector))
    held = tuple(HeldInputs(n, dict(zip(names, v, strict=True))) for n, v in segments)
    return Run(trial.name, trial.digest, subject, shows, held)


def run_text(run: Run) -> str:
    """Return the text of a run's file; the same run gives the same bytes."""
    segments = [{"ticks": s.ticks, "inputs": dict(s.inputs)} for s in run.segments]
    head: dict[str, Any] = {
        "format": FORMAT,
        "version": VERSION,
        "trial": run.trial,
        "digest": run.digest,
        "subject": run.subject,
        "shows": run.shows,
        "ticks": run.ticks,
    }
    lines = [f"  {json.dumps(key)}: {json.dumps(value)}," for key, value in head.items()]
    body = ",\n".join(f"    {json.dumps(segment)}" for segment in segments)
    return "{\n" + "\n".join(lines) + '\n  "segments": [\n' + body + "\n  ]\n}\n"


def read_run(path: str | Path, trial: Trial) -> Run:
    """Return the run in a file.

    Raises:
        InputError: the file cannot be read, is no run, or belongs to another specification.
    """
    try:
        document = json.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise input_error(
            path,
            "",
            str(error),
            "a run that `gainwright prove` kept",
            "name a file in the folder counterexamples of `gainwright prove --out DIR`",
        ) from error
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise _wrong(path, "format", "no run", f"{FORMAT!r}")
    if document.get("version") != VERSION:
        raise _wrong(path, "version", repr(document.get("version")), f"version {VERSION}")
    if document.get("digest") != trial.digest:
        raise _wrong(
            path, "digest", repr(document.get("digest")), f"that of the trial, {trial.digest!r}"
        )
    segments = tuple(_segment(path, k, s, trial) for k, s in enumerate(_list(path, document)))
    return Run(
        trial.name,
        trial.digest,
        _text(path, document, "subject"),
        _text(path, document, "shows"),
        segments,
    )


def _wrong(path: str | Path, place: str, found: str, expected: str) -> InputError:
    return input_error(path, place, found, expected, REMEDY)


def _text(path: str | Path, document: Mapping[str, Any], key: str) -> str:
    if not isinstance(document.get(key), str):
        raise _wrong(path, key, repr(document.get(key)), "a text")
    return document[key]


def _list(path: str | Path, document: Mapping[str, Any]) -> list[Any]:
    if not isinstance(document.get("segments"), list):
        raise _wrong(path, "segments", repr(document.get("segments")), "a list")
    return document["segments"]


def _segment(path: str | Path, number: int, entry: Any, trial: Trial) -> HeldInputs:
    place = f"segments, number {number + 1}"
    ticks = entry.get("ticks") if isinstance(entry, dict) else None
    if not isinstance(ticks, int) or isinstance(ticks, bool) or ticks < 1:
        raise _wrong(path, place, repr(ticks), "ticks of at least 1")
    inputs = entry.get("inputs")
    wanted = {signal.name: signal for signal in trial.inputs}
    if not isinstance(inputs, dict) or set(inputs) != set(wanted):
        raise _wrong(path, place, repr(inputs), "a value for every input of the trial")
    for name, value in inputs.items():
        low, high = wanted[name].low, wanted[name].high
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise _wrong(path, f"{place}, {name}", repr(value), f"an integer from {low} to {high}")
    return HeldInputs(ticks, {name: inputs[name] for name in wanted})
