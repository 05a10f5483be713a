"""The summary of a rehearsal in words and units."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from gainwright.language.model import Trial
from gainwright_sim.rehearsal.ending import Ending
from gainwright_sim.rehearsal.outcome import OUTCOMES
from gainwright_sim.rehearsal.prediction import Prediction
from gainwright_sim.rehearsal.summary import Elsewhere, StageSummary, Summary, Theory
from gainwright_sim.theory.margins import Margins

WIDTH = 80

CAUTION = """\
A rehearsal is a simulation: it shows what the exported C does on a simulated
axis, not what your machine will do. On the machine, people stay out of the
hazard zone; an independent emergency stop, limit switches and safe torque off
are in place and tested first; vertical axes have a brake or a counterweight.
Risk assessment, local codes and licensed practice decide. Gainwright is not a
safety function."""

FILES = """\
summary.json      what was found, with seed and digests
trial.toml        the trial that was rehearsed
machine.toml      the machine description
rungs-STAGE.csv   one line per stay at a rung
signals.npz       signals, inputs, variables and outputs at each sequencer tick
rehearsal.png     gain, torque, speed and detector against time
responses.png     a step and a move before and after, where there is a result
loop-response.png measured loop response (trials that measure it)
load-decay.png    decay of the load's swinging at each gain (trials that hear it)
"""


def summary_lines(summary: Summary) -> Iterator[str]:
    """Yield the lines of the summary, without markup."""
    outcome = OUTCOMES[summary.outcome]
    head = f"{summary.machine}, trial {summary.trial}: {headline(summary.outcome)}."
    yield textwrap.fill(head, WIDTH, subsequent_indent="  ")
    for violation in summary.violations:
        values = ", ".join(f"{name} = {value}" for name, value in violation["values"].items())
        head = f"requirement {violation['requirement_id']} at tick {violation['tick']}: {values}"
        yield textwrap.fill(head, WIDTH, initial_indent="  ", subsequent_indent="    ")
    if summary.broken is not None:
        yield line("broken", summary.broken.in_words())
    if summary.ending is not None:
        yield from _ending_lines(summary.ending)
    remedy = (summary.ending.remedy if summary.ending is not None else "") or outcome.remedy
    if remedy:
        yield line("remedy", _sentence(remedy))
    yield line("machine", summary.natural_frequencies.in_words())
    for stage in summary.stages:
        yield from _stage_lines(stage)
    for number, words in enumerate(summary.settings):
        yield line("settings" if number == 0 else "", words)
    if summary.load_limit is not None:
        yield line("limit by decay", summary.load_limit.in_words())
    if summary.load_swing is not None:
        yield line("load", summary.load_swing.in_words())
    if summary.margins is not None:
        yield line("exact margins", f"{margin_words(summary.margins)}, of the linear loop")
    if summary.measured_margins is not None:
        yield line("measured margins", summary.measured_margins.in_words())
        known = summary.natural_frequencies.locked_motor_hz
        yield line("", summary.measured_margins.evidence_in_words(known))
    if summary.profile is not None:
        yield line("whole moves", summary.profile.in_words())
    for number, words in enumerate(place_lines(summary.elsewhere)):
        yield line("elsewhere" if number == 0 else "", words)
    yield line("machine time", f"{summary.machine_time_s:.1f} s")
    yield line(
        "largest oscillation",
        f"{summary.torque_oscillation_max_of_limit:.1%} of the torque limit "
        f"({summary.torque_oscillation_max_per_unit:.3f} of rated torque)",
    )
    yield line("seed", str(summary.seed))


def reservation_lines(trial: Trial) -> Iterator[str]:
    """Yield that a trial is for rehearsals only, and why; nothing where a machine may run it."""
    if trial.rehearsals_only:
        text = f"Trial {trial.name} is for rehearsals only: {trial.rehearsals_only}"
        yield textwrap.fill(text, WIDTH)


def place_lines(found: Sequence[Elsewhere]) -> Iterator[str]:
    """Yield margins and shares of the limits; what is the same at all places is said once."""
    shares = [
        [
            f"{name} {share:.2f} of its limit there"
            for name, share in place.result_shares.items()
            if share is not None
        ]
        for place in found
    ]
    common = set(shares[0]).intersection(*shares) if len(found) > 1 else set[str]()
    places = dict[str, list[str]]()
    for place, words in zip(found, shares, strict=True):
        margins = "NOT STABLE" if place.margins is None else margin_words(place.margins)
        own = [word for word in words if word not in common]
        places.setdefault("; ".join([margins, *own]), []).append(place.situation)
    for words, names in places.items():
        yield f"{' and '.join(names)}: {words}"
    if common:
        yield f"at all of them: {'; '.join(word for word in shares[0] if word in common)}"


def _decibels(value: float | None) -> str:
    return "without limit" if value is None else f"{value:.1f} dB"


def margin_words(margins: Margins) -> str:
    """Return gain margin, phase margin and peak sensitivity."""
    return (
        f"gain {_decibels(margins.gain_db)}, phase {margins.phase_deg:.0f} degrees, Ms "
        f"{margins.peak_sensitivity:.2f}"
    )


def headline(key: str) -> str:
    """Return an outcome as its key and its words, without repeating itself."""
    words = OUTCOMES[key].words
    return (
        words
        if words.split(":")[0] in (key.replace("_", " "), "wrong")
        else (f"{key.replace('_', ' ')}: {words}")
    )


def _ending_lines(ending: Ending) -> Iterator[str]:
    if ending.reason is not None:
        yield line("why it ended", f"{ending.words} ({ending.reason})")
    yield line(
        "decided at", f"{ending.time_s:.3f} s by row '{ending.row}' in state '{ending.state}'"
    )
    yield line("", ending.why)


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:].rstrip(".") + "."


def _stage_lines(stage: StageSummary) -> Iterator[str]:
    unit = stage.unit
    yield f"  {stage.stage}"
    if stage.limit is not None:
        frequency = stage.onset_frequency_hz
        at = "" if frequency is None else f", oscillation at {frequency:.0f} Hz"
        yield line("limit found", f"{stage.limit:.4g} {unit} (rung {stage.onset_rung}){at}")
    elif (stage.prediction is None or not stage.prediction.agreed) and stage.ended_by != "decay":
        yield line("limit found", _no_onset_words(stage))
    if stage.result is not None:
        margin = "" if stage.margin_db is None else f", margin {stage.margin_db:.1f} dB"
        yield line("gain chosen", f"{stage.result:.4g} {unit}{margin}")
    if stage.prediction is not None:
        yield from _prediction_lines(stage.prediction, unit)
        yield from _apart_lines(stage.prediction.predicted_limit, stage.limit)
    if stage.theory is not None:
        yield from _theory_lines(stage.theory, stage)


def stage_words(stage: StageSummary) -> str:
    """Return how the limit of a stage was found, for one line of a larger summary."""
    if stage.limit is not None:
        frequency, margin = stage.onset_frequency_hz, stage.margin_db
        at = "" if frequency is None else f" at {_hertz(frequency)}"
        kept = "" if margin is None else f", margin {margin:.1f} dB"
        return f"limit {stage.limit:.4g} {stage.unit} by onset{at}{kept}"
    if stage.prediction is not None and stage.prediction.agreed:
        return f"limit {stage.prediction.predicted_limit:.4g} {stage.unit} predicted, not crossed"
    return f"limit: {_no_onset_words(stage)}"


def _prediction_lines(prediction: Prediction, unit: str) -> Iterator[str]:
    share = prediction.predicted_share
    exact = "" if share is None else f", {share:.3f} of the exact one"
    crossed = ", not crossed" if prediction.agreed else ""
    agree = f"{prediction.predictions} agree" if prediction.predictions > 1 else "one alone"
    yield line(
        "limit predicted",
        f"{prediction.predicted_limit:.4g} {unit}{crossed}{exact}; {agree}, noise "
        f"{prediction.prediction_spread:.1%}",
    )
    if prediction.gain_margin_db is not None and prediction.phase_margin_deg is not None:
        yield line(
            "measured margins",
            f"gain {prediction.gain_margin_db:.1f} dB, phase {prediction.phase_margin_deg:.0f} "
            f"degrees, Ms {prediction.peak_sensitivity:.2f}",
        )


APART = 0.06
"""A predicted limit and one that was crossed differ by no more, if both are right."""


def _apart_lines(predicted: float, crossed: float | None) -> Iterator[str]:
    """Say so where prediction and crossing contradict each other."""
    apart = 0.0 if crossed is None else abs(predicted / crossed - 1.0)
    if apart > APART:
        yield line(
            "contradiction",
            f"predicted and crossed limit are {apart:.0%} apart: noise, or an axis that is not "
            "linear; repeat the trial before the gain is used",
        )


def _no_onset_words(stage: StageSummary) -> str:
    if stage.ended_by is None or stage.ended_at is None:
        return "none: no onset was reported"
    at = f"{stage.ended_at:.4g} {stage.unit}"
    if stage.ended_by == "top_rung":
        return f"none up to the top of the ladder, {at}"
    return f"none: the search ended at {at} by {stage.ended_by.replace('_', ' ')}"


def _theory_lines(theory: Theory, stage: StageSummary) -> Iterator[str]:
    if theory.limit is None or theory.frequency_hz is None:
        yield line("exact theory says", "no limit near the gains of the ladder")
    else:
        below = ", below the start gain" if theory.limit < stage.start else ""
        yield line(
            "exact limit",
            f"{theory.limit:.4g} {stage.unit} at {_hertz(theory.frequency_hz)}{below}",
        )
    if theory.limit_share is not None:
        yield line("limit / exact", f"{theory.limit_share:.3f}")
    if theory.result_share is not None:
        stable = "" if theory.result_is_stable else ": NOT STABLE"
        yield line("chosen / exact", f"{theory.result_share:.3f}{stable}")
    if theory.rigid_body_limit is not None:
        yield line("as a rigid body", f"{theory.rigid_body_limit:.4g} {stage.unit}")


def _hertz(value: float) -> str:
    return f"{value:.0f} Hz" if value >= 20.0 else f"{value:.3g} Hz"


def line(name: str, value: str) -> str:
    """Return a labelled line of a summary, folded."""
    label = f"    {f'{name}:' if name else '':<20} "
    return textwrap.fill(value, WIDTH, initial_indent=label, subsequent_indent=" " * len(label))
