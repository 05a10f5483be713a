"""Defects of the trial itself: the very requirement that is to answer one must be refuted.

Rows and conditions are put to the explorer with short times. Constants keep their values, with two
values for all between two of them: what they must not exceed stands in the requirements as numbers.
"""

from __future__ import annotations

import tempfile
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from gainwright.errors import InputError
from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.exploration import confirms, explore, read_run, replay_run, run_text
from gainwright_proof.exploration.run_file import COUNTEREXAMPLE, HeldInputs, Run
from gainwright_proof.exploration.short_waits import waits, with_short_waits
from gainwright_proof.inserted_defects.defect import InsertedDefect, left_open
from gainwright_proof.inserted_defects.small import (
    keep_requirements,
    merge_thresholds,
    small_document,
    small_trial,
)

Change = Callable[[dict[str, Any]], None]


_EVIDENCE = "evidence_is_as_stated"
"""The requirement with numbers for all thresholds of the detector."""


def constants_document(*requirements: str) -> dict[str, Any]:
    """Return the shipped trial with some requirements; thresholds that these do not look at are
    merged."""
    document = tomllib.loads(shipped_trial_path().read_text(encoding="utf-8"))
    keep_requirements(document, requirements)
    if _EVIDENCE not in requirements:
        merge_thresholds(document)
    return document


def left_open_in(trial: Trial) -> tuple[str, ...]:
    """Return what is not proved of a trial, explored with short waits."""
    return left_open(explore(with_short_waits(trial, waits(trial))).findings)


def _refuted(document: dict[str, Any], requirement: str) -> tuple[str, ...]:
    """Return the requirement if it is refuted, or what the check of the file says."""
    try:
        trial = trial_from_document(document, "changed")
    except InputError as error:
        return tuple(f"check, {problem.place}" for problem in error.problems)
    found = left_open_in(_asked(trial, (requirement,)))
    return tuple(subject for subject in found if subject == requirement)


def _asked(trial: Trial, names: Sequence[str]) -> Trial:
    wanted = tuple(r for r in trial.requirements if r.id in names)
    return replace(trial, requirements=wanted)


def _behaviour(name: str, requirement: str, change: Change) -> InsertedDefect:
    def judge() -> tuple[str, ...]:
        document = small_document(requirements=(requirement,))
        change(document)
        return _refuted(document, requirement)

    return InsertedDefect(name, "hazard", "rows and conditions", judge)


def _constants(name: str, requirement: str, values: Mapping[str, int]) -> InsertedDefect:
    def judge() -> tuple[str, ...]:
        document = constants_document(requirement)
        for constant, value in values.items():
            document["constants"][constant]["value"] = value
        return _refuted(document, requirement)

    return InsertedDefect(name, "wrong constant", "constants", judge)


def _condition(name: str, sound: str, broken: str) -> Change:
    def change(document: dict[str, Any]) -> None:
        condition = document["conditions"][name]
        if sound not in condition["holds"]:
            raise LookupError(f"the condition {name} has no {sound!r}")
        condition["holds"] = condition["holds"].replace(sound, broken, 1)

    return change


def _row(name: str, **values: object) -> Change:
    def change(document: dict[str, Any]) -> None:
        (row,) = [row for row in document["rows"] if row["id"] == name]
        row.update(values)

    return change


def _unseen_end(document: dict[str, Any]) -> None:
    document["states"]["aborted"]["outputs"] = {}
    document["states"]["idle"]["outputs"] = {"aborted": True}


def _shows_nothing() -> tuple[str, ...]:
    """A run from reset that harms nothing, said to refute a requirement."""
    trial = small_trial()
    at_rest: Mapping[str, int] = {signal.name: signal.low for signal in trial.inputs}
    run = Run(trial.name, trial.digest, "gain_raised_only_after_quiet", COUNTEREXAMPLE,
              (HeldInputs(3, at_rest),))  # fmt: skip
    return () if confirms(trial, run, replay_run(trial, run)) else ("replay",)


def _of_another_trial() -> tuple[str, ...]:
    """A run that goes the same way in both trials, which tells nothing of this one."""
    trial = small_trial()
    at_rest: Mapping[str, int] = {signal.name: signal.low for signal in trial.inputs}
    run = Run(trial.name, "5a" * 32, "trial_ends", COUNTEREXAMPLE, (HeldInputs(1, at_rest),))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "run.json"
        path.write_text(run_text(run), encoding="utf-8")
        try:
            read_run(path, trial)
        except InputError as error:
            return tuple(f"replay, {problem.place}" for problem in error.problems)
    return ()


_BEHAVIOUR: tuple[tuple[str, str, Change], ...] = (
    ("oscillation behind the closed brake opens it",
     "oscillating_start_gain_stops_the_axis",
     _row("oscillates_behind_brake", to="open_brake", actions={"wait": 0})),
    ("a result stands though the permit is lost while stopping",
     "spoiled_result_is_dropped",
     _condition("result_spoiled", "(oscillating or stop_demanded)", "oscillating")),
    ("an axis that did not stop ends as aborted", "axis_that_does_not_stop_is_a_fault",
     _row("axis_ran_on", to="aborted")),
    ("reset without standstill", "end_left_by_fresh_reset_only",
     _condition("reset_accepted", " and standstill", "")),
    ("overspeed is no fault", "overspeed_takes_torque_away",
     _condition("fault_present", " or overspeed", "")),
    ("a lost axis is no fault", "following_error_takes_torque_away",
     _condition("fault_present", "following_error >=", "following_error >= 512 +")),
    ("feedback that froze is no fault", "frozen_feedback_takes_torque_away",
     _condition("fault_present", "still_ticks >= frozen_ticks or ", "")),
    ("strain without an end", "strain_is_bounded",
     _condition("fault_present", " or strained_ticks >= strain_limit_ticks",
                " or strained_ticks >= 200 * strain_limit_ticks")),
    ("the axis moves on when the permit comes back", "stop_never_returns_to_motion",
     _row("wait_for_standstill", to="move")),
    ("an end that is not shown", "each_end_is_shown", _unseen_end),
)  # fmt: skip
_CONSTANTS: tuple[tuple[str, str, Mapping[str, int]], ...] = (
    ("a burst that never comes", "burst_is_as_stated",
     {"burst_threshold": 65_535}),
    ("turning points at the ends of the window", "travel_is_as_stated",
     {"lower_end_position": -32_767, "upper_end_position": 32_767, "largest_target": 32_767}),
    ("one turning point for both ends", "travel_is_as_stated",
     {"lower_end_position": 24_000}),
    ("a brake that closes in a tick", "brake_times_are_as_stated",
     {"brake_close_ticks": 1}),
    ("a stop of nine seconds", "waits_are_as_stated",
     {"stop_timeout_ticks": 9_000}),
    ("a margin of one rung", "margin_is_as_stated",
     {"margin_rungs": 1}),
    ("everything is silence", _EVIDENCE,
     {"silence_threshold": 65_535}),
)  # fmt: skip

IN_TRIAL: tuple[InsertedDefect, ...] = (
    *(_behaviour(*entry) for entry in _BEHAVIOUR),
    *(_constants(*entry) for entry in _CONSTANTS),
    InsertedDefect(
        "a run that shows nothing taken for a counterexample", "counterexample",
        "exploration/run_file", _shows_nothing,
    ),
    InsertedDefect(
        "a run of another trial taken for a counterexample", "counterexample",
        "exploration/run_file", _of_another_trial,
    ),
)  # fmt: skip


def control() -> tuple[str, ...]:
    """Return what is not proved without a defect: must be nothing."""
    behaviour, constants = (
        tuple(dict.fromkeys(entry[1] for entry in entries)) for entries in (_BEHAVIOUR, _CONSTANTS)
    )
    return (*_sound(small_document(requirements=behaviour), behaviour),
            *_sound(constants_document(*constants), constants))  # fmt: skip


def _sound(document: dict[str, Any], requirements: Sequence[str]) -> tuple[str, ...]:
    return left_open_in(_asked(trial_from_document(document, "sound"), requirements))
