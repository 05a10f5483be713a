"""The shipped trial with times of a few ticks: requirements on every path of the compiled C."""

from __future__ import annotations

import pytest

from gainwright.language.load import trial_from_document
from gainwright_proof.exploration import explore
from gainwright_proof.exploration.subjects import AS_WRITTEN, ONE_STEP
from gainwright_proof.verdict import Verdict

from ..shared.cut import cut_document, cut_trial
from ..shared.requirements import only


@pytest.mark.slow
def test_every_requirement_holds_on_every_path_of_the_short_form():
    trial = cut_trial()
    explored = explore(trial)
    verdicts = {finding.subject: finding.verdict for finding in explored.findings}
    assert explored.complete
    assert verdicts.pop(ONE_STEP) is Verdict.TESTED
    assert verdicts.pop(AS_WRITTEN) is Verdict.TESTED
    assert set(verdicts.values()) == {Verdict.PROVED}
    assert verdicts.keys() >= {r.id for r in trial.requirements}
    assert all(ticks > 0 for ticks in explored.ticks_by_row.values())
    assert explored.saturating == ()


# Mistakes that a reviewer must never see pass: row id and change -> a requirement that catches it.
MISTAKES = {
    "no margin after onset": (
        ("burst_onset", "actions", "gain_rung", "gain_rung"),
        "onset_lowers_the_gain_at_once",
    ),
    "result above the margin": (
        ("ringing_onset", "actions", "result_rung", "gain_rung - margin_rungs + 1"),
        "result_keeps_the_margin",
    ),
    "two rungs at once": (
        ("raise_gain", "actions", "gain_rung", "gain_rung + 2"),
        "gain_raised_only_after_quiet",
    ),
    "gain kept at a stop": (
        ("stop", "actions", "gain_rung", "gain_rung"),
        "stop_demand_stops_the_motion",
    ),
    "gain kept at a fault": (
        ("fault", "actions", "gain_rung", "gain_rung"),
        "no_torque_without_drive_and_feedback",
    ),
    "torque off before the brake": (
        ("axis_has_stopped", "to", None, "aborted"),
        "brake_closes_before_torque_goes",
    ),
    "brake opened without waiting": (
        ("wait_for_torque", "to", None, "open_brake"),
        "torque_before_brake_opens",
    ),
    "motion before the brake is open": (
        ("wait_for_brake", "to", None, "approach"),
        "brake_opens_before_motion",
    ),
    "restart without reset": (
        ("reset_released", "to", None, "idle"),
        "end_left_by_fresh_reset_only",
    ),
    "held start counts": (
        ("start_refused", "actions", "request_released", True),
        "request_counts_as_released_only_if_seen_released",
    ),
    "verified in one direction": (
        ("first_direction_quiet", "actions", "verified", True),
        "verified_means_quiet_both_ways",
    ),
    "stop ignored while stopping": (
        ("wait_for_standstill", "to", None, "move"),
        "stop_never_returns_to_motion",
    ),
    "time stands still": (
        ("wait_for_standstill", "actions", "wait", "wait"),
        "stop_is_bounded",
    ),
    "listening without end": (
        ("listen", "actions", "wait", "0"),
        "listening_ends",
    ),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("mistake", MISTAKES)
def test_inserted_mistakes_break_the_requirement_that_answers_them(mistake):
    (row_id, key, name, value), requirement = MISTAKES[mistake]
    document = cut_document()
    (row,) = [row for row in document["rows"] if row["id"] == row_id]
    if name is None:
        row[key] = value
    else:
        row[key][name] = value
    trial = only(trial_from_document(document, "mistake.toml"), [requirement])
    findings = explore(trial).findings
    (finding,) = [finding for finding in findings if finding.subject == requirement]
    assert finding.verdict is Verdict.REFUTED
