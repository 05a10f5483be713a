"""What moved between two records of rehearsals: outcome, limits, frequencies, results."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gainwright.errors import input_error
from gainwright.result_folder import changed_files

MOVED = 0.03
"""Gains and frequencies nearer than this (relative) have not moved: less than a rung."""
MOVED_BY_NOISE = 0.10
"""The same for what another seed of the noise changes."""
STAGE_NUMBERS = (
    ("start", "start gain"),
    ("limit", "limit found"),
    ("onset_frequency_hz", "onset frequency [Hz]"),
    ("result", "gain chosen"),
)
NUMBERS = (
    ("machine_time_s", "machine time [s]"),
    ("torque_oscillation_max_of_limit", "largest oscillation"),
)
MOVED_FREQUENCY = 0.05
"""The same for the frequency of the load, which is known to a line of 4 %."""
LOAD_LIMIT_NAME = "limit by decay of the load [1/s]"
LOCKED_NAME = "frequency of the load [Hz]"
SOURCES = (("trial_digest", "trial"), ("machine_digest", "machine"), ("seed", "seed"))


@dataclass(frozen=True, slots=True)
class Difference:
    """One quantity in two records."""

    what: str
    before: str | float | None
    after: str | float | None
    moved: bool

    @property
    def ratio(self) -> float | None:
        """After / before; None where that means nothing."""
        before, after = self.before, self.after
        if isinstance(before, str) or isinstance(after, str) or not before or after is None:
            return None
        return after / before


def read_record(folder: str | Path, file_name: str = "summary.json") -> dict[str, Any]:
    """Return the numbers of a record.

    Raises:
        InputError: there is no such record, it was changed, or it cannot be read.
    """
    place = Path(folder)
    path = place / file_name
    if not path.is_file():
        raise input_error(
            place, "", f"no {file_name}", "a folder that --out of rehearse or campaign has written",
            "name such a folder",
        )  # fmt: skip
    if file_name in changed_files(place):
        raise input_error(
            path, "", "another content than gainwright wrote", "the record as it was written",
            "make the record again with --out",
        )  # fmt: skip
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise input_error(path, "", str(error), "JSON of a record", "make it again") from error
    if not isinstance(content, dict):
        raise input_error(path, "", "no JSON object", "JSON of a record", "make it again")
    return content


def check_same_machine(option: str, folder: str, record: Mapping[str, Any], name: str) -> None:
    """Raise InputError if a record is of another machine than the one of that name.

    A changed description of the same name is what one compares for; ``other_sources`` tells it.
    """
    if record.get("machine") != name:
        raise input_error(
            option, "", f"{folder}, a record of {record.get('machine')}", f"one of {name}",
            "name a record of the same machine: gains of two machines say nothing of each other",
        )  # fmt: skip


def hints(found: Iterable[Difference]) -> list[str]:
    """Return what moved limits and frequencies hint at (common practice, no source)."""
    by_name = {item.what: item for item in found}
    said = list[str]()
    for item in by_name.values():
        ratio = item.ratio
        if not item.moved or ratio is None:
            continue
        if item.what == LOCKED_NAME:
            said.append(
                "the load swings slower: a looser belt, a softer coupling or a heavier load"
                if ratio < 1.0
                else "the load swings faster: a tighter belt, a stiffer coupling or a lighter load"
            )
        elif item.what.endswith(": limit found") and ratio < 1.0:
            said.append(
                f"{item.what.split(':')[0]} reaches its limit earlier: look at belt tension, "
                "couplings and guides before the gain is lowered"
            )
    return said


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[Difference]:
    """Return every quantity of two summaries (keys of ``rehearse --json``), moved or not."""
    return list(_differences(before, after))


def other_sources(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """Return what the records were made from that is not the same."""
    return [words for key, words in SOURCES if before.get(key) != after.get(key)]


def _differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Difference]:
    yield _words("outcome", before.get("outcome"), after.get("outcome"))
    yield _number(LOAD_LIMIT_NAME, *(_load_limit(one) for one in (before, after)))
    yield _number(LOCKED_NAME, *(_locked_hz(one) for one in (before, after)), MOVED_FREQUENCY)
    yield _words("why it ended", _ending(before), _ending(after))
    stages = {stage["stage"]: stage for stage in before.get("stages", ())}
    later = {stage["stage"]: stage for stage in after.get("stages", ())}
    for name in {**stages, **later}:
        one, other = stages.get(name, {}), later.get(name, {})
        for key, words in STAGE_NUMBERS:
            yield _number(f"{name}: {words}", one.get(key), other.get(key))
        exact = [(stage.get("theory") or {}).get("limit") for stage in (one, other)]
        yield _number(f"{name}: exact limit", *exact)
    for key, words in NUMBERS:
        yield _number(words, before.get(key), after.get(key), MOVED_BY_NOISE)


def _load_limit(summary: Mapping[str, Any]) -> float | None:
    return (summary.get("load_limit") or {}).get("limit_per_s")


def _locked_hz(summary: Mapping[str, Any]) -> float | None:
    """Return at which frequency the load was heard to swing; what a trial does not hear is none."""
    return (summary.get("load_limit") or {}).get("frequency_hz")


def _ending(summary: Mapping[str, Any]) -> str | None:
    ending = summary.get("ending") or {}
    return ending.get("reason") or ending.get("row")


def _words(what: str, before: str | None, after: str | None) -> Difference:
    return Difference(what, before, after, before != after)


def _number(
    what: str, before: float | None, after: float | None, least: float = MOVED
) -> Difference:
    if before is None or after is None:
        return Difference(what, before, after, before is not after)
    return Difference(what, before, after, abs(after - before) > least * abs(before))
