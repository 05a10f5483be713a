"""How a rehearsal ended, in one word, with what exact theory knows better held against it."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright_sim.rehearsal.rehearse import Rehearsal
from gainwright_sim.rehearsal.start import refused_start

HIGHEST_RESULT_SHARE = 0.70
"""A verified result above this share of the exact limit is wrong."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One way in which a rehearsal can end."""

    key: str
    """As in JSON."""
    words: str
    remedy: str
    """What to do about it, where the trial itself does not say."""
    exit_code: int
    wrong: bool = False
    """The trial says "verified", and simulation knows better."""
    has_result: bool = False
    """Whether the trial gave a gain."""


_LOOK = "look at rows and signals at that time in the record (--out) before any machine sees this"
OUTCOMES = {
    outcome.key: outcome
    for outcome in (
        Outcome("finished", "the gain was found and verified", "", 0, has_result=True),
        Outcome(
            "limited_by_noise",
            "limited by noise: the gain that noise allows was found and verified; the stability "
            "limit was not reached",
            "a finer encoder, a speed filter or less current noise would allow more",
            0,
            has_result=True,
        ),
        Outcome(
            "no_onset",
            "no onset up to the highest gain: the result lies a margin below the top of the "
            "ladder, the limit is not known",
            "raise the start gain of the machine description, or give the trial's ladder more "
            "rungs or a larger ratio",
            1,
            has_result=True,
        ),
        Outcome(
            "wrong_not_stable", "wrong: verified a gain that is not stable", _LOOK, 1,
            wrong=True, has_result=True,
        ),
        Outcome(
            "wrong_too_high",
            f"wrong: verified above {HIGHEST_RESULT_SHARE:.2f} of the exact limit", _LOOK, 1,
            wrong=True, has_result=True,
        ),
        Outcome(
            "aborted", "the trial stopped without a result, at the safe start gain",
            "cure the reason, then rehearse again", 1,
        ),
        Outcome(
            "fault_latched", "torque was switched off at once and the fault is latched",
            "find the fault of drive or feedback that came first", 1,
        ),
        Outcome(
            "violated", "a requirement did not hold, and the rehearsal was ended there",
            "prove the trial: `gainwright prove` shows the shortest way to it", 1,
        ),
        Outcome(
            "not_started", "the trial did not start: the start was asked for and refused",
            "see that the axis rests, with drive, feedback and permit in order, before the start",
            1,
        ),
        Outcome(
            "unfinished", "the trial had not ended when the longest time was over",
            "look at the state in which it waits", 3,
        ),
        Outcome(
            "refused", "the trial does not fit this axis and was not rehearsed",
            "change what the message names", 2,
        ),
    )
}  # fmt: skip
"""By key."""


def ended_as(rehearsal: Rehearsal, limit_found: bool) -> str:
    """Return the outcome's key as the trial itself sees it; a limit by onset or prediction."""
    if rehearsal.violations:
        return "violated"
    if not rehearsal.ended:
        refused = refused_start(rehearsal.trial, rehearsal.log) is not None
        return "not_started" if refused else "unfinished"
    for name in ("limited_by_noise", "finished", "aborted", "fault_latched"):
        if rehearsal.ends_with(name):
            return "no_onset" if name == "finished" and not limit_found else name
    return "unfinished"


def judged(key: str, result_share: float | None, stable: bool | None) -> str:
    """Return the outcome's key after a look at exact theory.

    Args:
        key: as the trial sees it.
        result_share: result / exact limit; None where one of them is missing.
        stable: whether the linear loop decays at the result; None without a result.
    """
    if not OUTCOMES[key].has_result:
        return key
    if stable is False:
        return "wrong_not_stable"
    if result_share is not None and result_share > HIGHEST_RESULT_SHARE:
        return "wrong_too_high"
    return key
