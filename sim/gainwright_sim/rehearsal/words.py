"""The summary of a rehearsal in words and units."""

from __future__ import annotations

from collections.abc import Iterator

from gainwright_sim.rehearsal.summary import StageSummary, Summary

CAUTION = (
    "A rehearsal is a simulation: it shows what the exported C does on a simulated axis, not what "
    "your machine will do. On the machine, people stay out of the hazard zone; an independent\n"
    "emergency stop, limit switches and safe torque off are in place and tested first; vertical "
    "axes have a brake or a counterweight. Risk assessment, local codes and licensed practice\n"
    "decide. Gainwright is not a safety function."
)

FILES = """\
summary.json      what was found, with seed and digests
trial.toml        the trial that was rehearsed
machine.toml      the machine description
rungs-STAGE.csv   one line per stay at a rung
signals.npz       signals, inputs, variables and outputs at each sequencer tick
rehearsal.png     gain, torque, speed and detector against time
"""

_OUTCOMES = {
    "finished": "finished: the gain was found and verified",
    "aborted": "aborted: the trial stopped without a result, at the safe start gain",
    "fault_latched": "fault: torque was withdrawn and the fault is latched",
    "violated": "violated: a requirement did not hold, and the rehearsal was ended",
    "unfinished": "unfinished: the trial had not ended when the longest time was over",
}


def summary_lines(summary: Summary) -> Iterator[str]:
    """Yield the lines of the summary, without markup."""
    yield f"{summary.machine}, trial {summary.trial}: {_OUTCOMES[summary.outcome]}."
    for violation in summary.violations:
        values = ", ".join(f"{name} = {value}" for name, value in violation["values"].items())
        yield f"  requirement {violation['requirement_id']} at tick {violation['tick']}: {values}"
    for stage in summary.stages:
        yield from _stage_lines(stage)
    yield _line("machine time", f"{summary.machine_time_s:.1f} s")
    yield _line(
        "largest oscillation",
        f"{summary.torque_oscillation_max_of_limit:.1%} of the torque limit "
        f"({summary.torque_oscillation_max_per_unit:.3f} of rated torque)",
    )
    yield _line("seed", str(summary.seed))


def _stage_lines(stage: StageSummary) -> Iterator[str]:
    unit = stage.unit
    yield f"  {stage.stage}"
    if stage.limit is None:
        yield _line("limit found", "none: no onset was reported")
    else:
        frequency = stage.onset_frequency_hz
        heard = "" if frequency is None else f", oscillation at {frequency:.0f} Hz"
        yield _line("limit found", f"{stage.limit:.4g} {unit} (rung {stage.onset_rung}){heard}")
    if stage.result is not None and stage.margin_db is not None:
        yield _line("gain chosen", f"{stage.result:.4g} {unit}, margin {stage.margin_db:.1f} dB")
    theory = stage.theory
    if theory is None:
        return
    if theory.limit is None or theory.frequency_hz is None:
        yield _line("exact theory says", "no limit above the start gain")
    else:
        ratio = f"; found / exact = {stage.limit / theory.limit:.3f}" if stage.limit else ""
        yield _line(
            "exact theory says",
            f"{theory.limit:.4g} {unit} at {theory.frequency_hz:.0f} Hz{ratio}",
        )
    if theory.rigid_body_limit is not None:
        yield _line("as a rigid body", f"{theory.rigid_body_limit:.4g} {unit}")


def _line(name: str, value: str) -> str:
    return f"    {name + ':':<20} {value}"
