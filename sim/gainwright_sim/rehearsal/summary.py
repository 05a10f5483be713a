"""What a rehearsal found, as numbers with documented keys."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from gainwright_codegen.axis_c.tables import StageTables
from gainwright_sim.machine import Machine, machine_digest
from gainwright_sim.machine.model import start_settings
from gainwright_sim.machine.situations import machine_at
from gainwright_sim.plant.natural import NaturalFrequencies, natural_frequencies
from gainwright_sim.rehearsal.ending import Ending, find_ending
from gainwright_sim.rehearsal.load_limit import LoadLimit, load_limit, load_table
from gainwright_sim.rehearsal.onset import onset_frequency_hz
from gainwright_sim.rehearsal.outcome import OUTCOMES, ended_as, judged
from gainwright_sim.rehearsal.prediction import Prediction, by_prediction, find_prediction
from gainwright_sim.rehearsal.profile import HUNTING, Profile, find_profile, lowered_by
from gainwright_sim.rehearsal.rehearse import Rehearsal
from gainwright_sim.rehearsal.step_margins import StepMargins, find_step_margins
from gainwright_sim.rehearsal.swing import LoadSwing, load_swing
from gainwright_sim.rehearsal.units import rule_lines, unit_lines
from gainwright_sim.rig.faults import FAULT_KINDS
from gainwright_sim.theory.closed_loop import LOAD_SETTING, machine_loop
from gainwright_sim.theory.limit import StabilityLimit, UnstableAtStartError
from gainwright_sim.theory.margins import Margins, margins
from gainwright_sim.theory.stages import STAGE_THEORY, Held


@dataclass(frozen=True, slots=True)
class Theory:
    """Exact limits of the linear closed loop; ``None`` where there is none."""

    limit: float | None
    frequency_hz: float | None
    rigid_body_limit: float | None
    """What a calculation from the total inertia alone would have said."""
    limit_share: float | None
    """Limit found / exact limit."""
    result_share: float | None
    """Result / exact limit."""
    result_is_stable: bool | None
    """Whether the loop decays at the result; None without a result."""


@dataclass(frozen=True, slots=True)
class StageSummary:
    stage: str
    unit: str
    start: float
    limit: float | None
    """First gain at which onset was reported; None if it was not."""
    result: float | None
    """Gain chosen; None if there is none."""
    margin_db: float | None
    """From the result up to the limit; None if no onset was reported."""
    quiet_rung: int | None
    """Highest rung that was judged quiet."""
    onset_rung: int | None
    onset_frequency_hz: float | None
    onset_time_s: float | None
    ended_by: str | None
    """What ended the search: onset, noise, decay of the load, a bound that the trial names, or
    top_rung; None if it did not end by a limit."""
    ended_at: float | None
    """Gain at which it ended."""
    prediction: Prediction | None
    """What the measured loop response said; None if it was not measured or said nothing."""
    theory: Theory | None


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """Exact margins of the linear loop at another position, or with another payload."""

    situation: str
    margins: Margins | None
    """None if the loop is not stable there."""
    result_shares: Mapping[str, float | None]
    """Of each stage, what was chosen over the exact limit there; None if there is no limit."""


@dataclass(frozen=True, slots=True)
class Broken:
    """A fault that the rehearsal put in."""

    kind: str
    """A key of :data:`FAULT_KINDS`."""
    from_s: float

    def in_words(self) -> str:
        return f"from {self.from_s:g} s on: {FAULT_KINDS[self.kind].words} ({self.kind})"


@dataclass(frozen=True, slots=True)
class Summary:
    """Keys of ``gainwright rehearse --json``, in this order."""

    outcome: str
    """A key of :data:`OUTCOMES`."""
    ending: Ending | None
    """The row that decided the end, and the trial's reason; None if it did not end by itself."""
    trial: str
    machine: str
    natural_frequencies: NaturalFrequencies
    stages: tuple[StageSummary, ...]
    settings: tuple[str, ...]
    """What was chosen in the units that drives use, and what rules of thumb would say; empty
    without a result."""
    load_limit: LoadLimit | None
    """Of the position loop over the load; None where the trial does not hear the load, or too few
    decays were sure."""
    load_swing: LoadSwing | None
    """None for a rigid axis, or without a result."""
    margins: Margins | None
    """Exact ones of the linear loop with all results; None without a result or a stable loop."""
    measured_margins: StepMargins | None
    """Of the whole loop at the result, as the trial measured them; None without a result, or if it
    does not measure them by steps."""
    profile: Profile | None
    """Of whole moves with all gains; None without a result, or if the trial makes none."""
    elsewhere: tuple[Elsewhere, ...]
    """The same in the other situations that the machine's description gives."""
    broken: Broken | None
    """What broke on the simulated axis, unsaid; None if nothing did."""
    machine_time_s: float
    torque_oscillation_max_per_unit: float
    """Largest high-passed controller torque plus test pulse, of rated torque."""
    torque_oscillation_max_of_limit: float
    """The same, of the torque limit."""
    violations: tuple[dict[str, Any], ...]
    seed: int
    trial_digest: str
    machine_digest: str

    def as_json(self) -> dict[str, Any]:
        """Return plain data for :func:`json.dumps`."""
        return asdict(self)


def summarise(rehearsal: Rehearsal) -> Summary:
    """Return the summary of a rehearsal."""
    machine, ending = rehearsal.machine, find_ending(rehearsal)
    peak_nm = float(rehearsal.log.signal("torque_oscillation").max(initial=0.0))
    numbers = range(len(rehearsal.tables))
    onsets = [find_onset(rehearsal, number) for number in numbers]
    heard = load_table(rehearsal) is not None
    found = heard or by_prediction(rehearsal) or any(onset is not None for onset in onsets)
    key = ended_as(rehearsal, found)
    stages = tuple(_stage(rehearsal, number, key) for number in numbers)
    for stage in stages:
        if stage.theory is not None:
            key = judged(key, stage.theory.result_share, stage.theory.result_is_stable)
    elsewhere = _elsewhere(rehearsal, stages) if OUTCOMES[key].has_result else ()
    if any(place.margins is None for place in elsewhere):
        key = "wrong_not_stable"
    return Summary(
        outcome=key,
        ending=ending,
        trial=rehearsal.trial.name,
        machine=machine.name,
        natural_frequencies=natural_frequencies(machine.chain),
        stages=stages,
        settings=_settings(rehearsal) if OUTCOMES[key].has_result else (),
        load_limit=load_limit(rehearsal, _load_theory(stages)),
        load_swing=load_swing(rehearsal) if OUTCOMES[key].has_result else None,
        margins=_margins(rehearsal, rehearsal.machine) if OUTCOMES[key].has_result else None,
        measured_margins=find_step_margins(rehearsal) if OUTCOMES[key].has_result else None,
        profile=find_profile(rehearsal) if OUTCOMES[key].has_result else None,
        elsewhere=elsewhere,
        broken=_broken(rehearsal),
        machine_time_s=round(rehearsal.machine_time_s, 6),
        torque_oscillation_max_per_unit=peak_nm / machine.drive.rated_torque_nm,
        torque_oscillation_max_of_limit=peak_nm / machine.drive.torque_limit_nm,
        violations=tuple(asdict(violation) for violation in rehearsal.violations),
        seed=rehearsal.seed,
        trial_digest=rehearsal.trial.digest,
        machine_digest=machine_digest(machine),
    )


def _broken(rehearsal: Rehearsal) -> Broken | None:
    fault = rehearsal.fault
    if fault.kind == "none":
        return None
    return Broken(fault.kind, round(fault.start * rehearsal.trial.tick_us * 1e-6, 6))


def _load_theory(stages: tuple[StageSummary, ...]) -> float | None:
    theory = next((stage.theory for stage in stages if stage.stage == LOAD_SETTING), None)
    return None if theory is None else theory.limit


@dataclass(frozen=True, slots=True)
class Onset:
    """Where in the record the limit that counts was reported."""

    tick: int
    rung: int


def find_onset(rehearsal: Rehearsal, number: int) -> Onset | None:
    """Return the last report of onset of a stage, by its number, or None.

    The last, since a result that fails its verification lowers the limit.
    """
    stage = rehearsal.tables[number].stage
    reported = (rehearsal.variable(stage.onset) == 1) & rehearsal.tuned(number)
    limits = np.where(reported, rehearsal.variable(stage.limit), -1)
    changes = np.flatnonzero(np.diff(limits, prepend=-1))
    reports = changes[limits[changes] >= 0]
    if not len(reports):
        return None
    tick = int(reports[-1])
    return Onset(tick, int(limits[tick]))


def _stage(rehearsal: Rehearsal, number: int, key: str) -> StageSummary:
    table = rehearsal.tables[number]
    stage, gains = table.stage, table.gains
    onset = find_onset(rehearsal, number)
    has_result = OUTCOMES[key].has_result
    result = gains[int(rehearsal.variable(stage.result)[-1])] if has_result else None
    limit = None if onset is None else gains[onset.rung]
    tick_s = rehearsal.trial.tick_us * 1e-6
    theory = _theory(table, rehearsal.machine, limit, result, _held(rehearsal, number))
    return StageSummary(
        stage=stage.name,
        unit=table.kind.unit,
        start=gains[0],
        limit=limit,
        result=result,
        margin_db=(None if result is None or limit is None else 20.0 * math.log10(limit / result)),
        quiet_rung=_quiet_rung(rehearsal, number, onset, has_result),
        onset_rung=None if onset is None else onset.rung,
        onset_frequency_hz=(
            None if onset is None else onset_frequency_hz(rehearsal, table, onset.tick)
        ),
        onset_time_s=None if onset is None else round(onset.tick * tick_s, 6),
        **_search_end(rehearsal, number),
        prediction=find_prediction(rehearsal, table, result, theory and theory.limit),
        theory=theory,
    )


BOUND_VARIABLE = "position_bound"
"""Variable, an enumeration, by which a trial says which bound of its own ended a search."""


_LOWERED = {HUNTING: "integral_rate"}
"""Setting that a bound of the profile lowers, where it is not the position gain."""


def _search_end(rehearsal: Rehearsal, number: int) -> dict[str, Any]:
    """Return what ended the search of a stage, and at which gain."""
    table, trial = rehearsal.tables[number], rehearsal.trial
    limits = np.where(rehearsal.tuned(number), rehearsal.variable(table.stage.limit), 0)
    ended = np.flatnonzero(limits)
    if not len(ended):
        return {"ended_by": None, "ended_at": None}
    tick = int(ended[-1])
    variables = {signal.name: signal for signal in trial.variables}
    by = "top_rung"
    if rehearsal.variable(table.stage.onset)[tick]:
        by = "onset"
    elif "noise_found" in variables and rehearsal.variable("noise_found")[tick]:
        by = "noise"
    elif by_prediction(rehearsal):
        by = "prediction"
    elif table.kind.setting == LOAD_SETTING:
        by = "decay"
    elif BOUND_VARIABLE in variables and (value := rehearsal.variable(BOUND_VARIABLE)[tick]):
        by = trial.value_of(variables[BOUND_VARIABLE], int(value)).name
    bound = lowered_by(rehearsal)
    if bound is not None and table.kind.setting == _LOWERED.get(bound, "position_gain"):
        by = bound
    return {"ended_by": by, "ended_at": table.gains[int(limits[tick])]}


def _held(rehearsal: Rehearsal, number: int) -> dict[str, float]:
    """Return the other stages' settings as they were at the end of a stage."""
    tuned = np.flatnonzero(rehearsal.tuned(number))
    if len(rehearsal.tables) < 2 or not len(tuned):
        return {}
    settings = rehearsal.settings(int(tuned[-1]))
    del settings[rehearsal.tables[number].kind.setting]
    return settings


def _settings(rehearsal: Rehearsal) -> tuple[str, ...]:
    chosen = rehearsal.settings(-1)
    return (*unit_lines(rehearsal.machine, chosen), *rule_lines(rehearsal.machine))


def _elsewhere(rehearsal: Rehearsal, stages: Sequence[StageSummary]) -> tuple[Elsewhere, ...]:
    machine = rehearsal.machine
    settings = {**start_settings(machine), **rehearsal.settings(-1)}
    tuned = {
        stage.stage: table.kind.setting
        for stage, table in zip(stages, rehearsal.tables, strict=True)
    }
    return tuple(
        at_place(place.name, machine_at(machine, place.name), settings, tuned)
        for place in machine.situations
    )


def at_place(
    name: str, machine: Machine, settings: Mapping[str, float], tuned: Mapping[str, str]
) -> Elsewhere:
    """Return what all settings of a drive mean at a place.

    Args:
        name: of the place.
        machine: as it is there.
        settings: of the drive, all of them, by name.
        tuned: name of the setting, by the stage that tuned it.
    """
    shares = dict[str, float | None]()
    for stage, setting in tuned.items():
        theory = STAGE_THEORY.get(setting)
        held = {other: value for other, value in settings.items() if other != setting}
        limit = None if theory is None else _limit(theory.limit, machine, held)[0]
        shares[stage] = _share(settings[setting], limit)
    return Elsewhere(name, margins_with(machine, settings), shares)


def _margins(rehearsal: Rehearsal, machine: Machine) -> Margins | None:
    return margins_with(machine, {**start_settings(machine), **rehearsal.settings(-1)})


def margins_with(machine: Machine, settings: Mapping[str, float]) -> Margins | None:
    """Return the exact margins with all settings of a drive; None if the loop is not stable."""
    settings = dict(settings)
    gain = settings.pop("speed_gain")
    if not STAGE_THEORY["speed_gain"].is_stable(machine, gain, settings):
        return None
    return margins(machine_loop(machine, "speed_gain", settings), gain)


def _quiet_rung(
    rehearsal: Rehearsal, number: int, onset: Onset | None, has_result: bool
) -> int | None:
    """Highest rung from which the trial went on to a higher one, or at which it stays."""
    rungs = rehearsal.output(rehearsal.tables[number].stage.rung)
    raised = np.flatnonzero(np.diff(rungs) > 0)
    left = [int(rungs[tick]) for tick in raised]
    if has_result:
        left.append(int(rungs[-1]))
        if onset is None:
            left.append(int(rungs.max()))
    return max(left, default=None)


def _theory(
    table: StageTables,
    machine: Machine,
    limit: float | None,
    result: float | None,
    held: Held,
) -> Theory | None:
    theory = STAGE_THEORY.get(table.kind.setting)
    if theory is None:
        return None
    exact, frequency_hz = _limit(theory.limit, machine, held)
    rigid, _ = _limit(theory.rigid_body_limit, machine, held)
    return Theory(
        limit=exact,
        frequency_hz=frequency_hz,
        rigid_body_limit=rigid,
        limit_share=_share(limit, exact),
        result_share=_share(result, exact),
        result_is_stable=None if result is None else theory.is_stable(machine, result, held),
    )


def _share(found: float | None, exact: float | None) -> float | None:
    return None if found is None or exact is None else found / exact


def _limit(
    calculation: Callable[[Machine, Held], StabilityLimit], machine: Machine, held: Held
) -> tuple[float | None, float | None]:
    try:
        found = calculation(machine, held)
    except UnstableAtStartError:
        return None, None
    if not math.isfinite(found.gain):
        return None, None
    return found.gain, found.frequency_hz
