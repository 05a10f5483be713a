"""Margins that a trial measured by steps of the position, beside those it asks for."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright_sim.rehearsal.rehearse import Rehearsal

INPUTS = ("margins_evaluated", "step_sensitivity", "step_phase_margin")
NOTHING_SEEN_DEG = 180
"""Every loop crosses a gain of 1 somewhere: where no crossing stands out, noise hides it."""
ASKED = ("position_sensitivity_percent", "position_phase_margin_deg")
"""Constants of such a trial."""


@dataclass(frozen=True, slots=True)
class StepMargins:
    """Of the whole loop at the result. What noise may explain is taken off, so that true margins
    may be worse, but are not shown to be."""

    peak_sensitivity: float
    phase_margin_deg: int | None
    """None: noise hides where it is, and shares of the limits alone speak for the result."""
    asked_peak_sensitivity: float | None
    """At most; None if the trial has no constant of the name that is known."""
    asked_phase_margin_deg: int | None
    """At least."""
    swing_judged_from_hz: float | None
    """What swings by itself was judged from this frequency on, as the steps were watched for so
    long; None: at none, so that there is no evidence about a load that friction keeps swinging."""

    def evidence_in_words(self, locked_motor_hz: float | None) -> str:
        """Return of which loads the measurement says nothing.

        Args:
            locked_motor_hz: of the load on its spring, which the simulation knows.
        """
        least = self.swing_judged_from_hz
        if least is None:
            return (
                "no evidence about a load that friction keeps swinging: the steps were watched "
                "for too short a time"
            )
        slow = locked_motor_hz is not None and locked_motor_hz < least
        known = f", such as this one of {locked_motor_hz:.3g} Hz" if slow else ""
        return (
            f"a load that friction keeps swinging was looked for from {least:.2g} Hz on; no "
            f"evidence about slower ones{known}"
        )

    def in_words(self) -> str:
        """Return what was reached and asked for."""
        if self.phase_margin_deg is None:
            return (
                "not known: noise hides the answer to steps of the position; shares of the limits "
                "alone speak for the result"
            )
        reached = (
            f"phase {self.phase_margin_deg} degrees, Ms {self.peak_sensitivity:.2f}, less what "
            "noise explains, from steps of the position"
        )
        if self.asked_phase_margin_deg is None or self.asked_peak_sensitivity is None:
            return reached
        return (
            f"{reached}; asked for: phase {self.asked_phase_margin_deg} degrees, Ms "
            f"{self.asked_peak_sensitivity:.2f}"
        )


def find_step_margins(rehearsal: Rehearsal) -> StepMargins | None:
    """Return the last measurement, which is that of the result; None if nothing was measured."""
    known = rehearsal.trial.index.inputs
    if any(name not in known for name in INPUTS) or len(rehearsal.log) == 0:
        return None
    evaluated, sensitivity, phase = (int(rehearsal.input(name)[-1]) for name in INPUTS)
    if not evaluated:
        return None
    constants = {constant.name: constant.value for constant in rehearsal.trial.constants}
    asked = [constants.get(name) for name in ASKED]
    return StepMargins(
        peak_sensitivity=sensitivity / 100.0,
        phase_margin_deg=phase if phase < NOTHING_SEEN_DEG else None,
        asked_peak_sensitivity=None if asked[0] is None else asked[0] / 100.0,
        asked_phase_margin_deg=asked[1],
        swing_judged_from_hz=float(rehearsal.log.signal("swing_judged_from")[-1]) or None,
    )
