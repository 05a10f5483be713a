"""The trial that measures margins: what it says against exact theory, and when it says nothing."""

from __future__ import annotations

import dataclasses
import json
from functools import cache

import control
import numpy as np
import pytest

from gainwright.detector.response_design import response_wanted
from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_cli.main import main
from gainwright_codegen.axis_c.tables import axis_tables
from gainwright_sim.campaign.families import FAMILIES
from gainwright_sim.campaign.run import Benches
from gainwright_sim.campaign.sampling import sample
from gainwright_sim.machine.load import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import Rehearsal, rehearse
from gainwright_sim.rehearsal.response_picture import save_response_picture
from gainwright_sim.rehearsal.summary import Summary, summarise
from gainwright_sim.rehearsal.words import summary_lines
from gainwright_sim.rig.axis import axis_data
from gainwright_sim.rig.run import FOR_EVER, Override
from gainwright_sim.theory.closed_loop import machine_loop

from ..shared.cases import cases

TRIAL = load_trial(shipped_trial_path("gentle"))
SHARE = 0.75


@cache
def rehearsed(name: str) -> tuple[Rehearsal, Summary]:
    rehearsal = rehearse(Bench(TRIAL, load_machine(name), changeable=True), seed=3)
    return rehearsal, summarise(rehearsal)


@pytest.mark.parametrize("name", cases(["grinder-slide", "door-hoist"], slow=["glaze-gantry"]))
def test_margins_are_measured_without_coming_near_the_limit(name: str) -> None:
    rehearsal, summary = rehearsed(name)
    stage, exact = summary.stages[0], summary.margins
    assert summary.outcome == "finished"
    assert summary.ending is not None
    assert summary.ending.reason == "below_prediction"
    assert stage.onset_rung is None
    assert stage.prediction is not None
    assert exact is not None
    assert stage.prediction.predicted_share == pytest.approx(1.0, abs=0.03)
    assert stage.prediction.gain_margin_db == pytest.approx(exact.gain_db, abs=0.5)
    assert stage.prediction.phase_margin_deg == pytest.approx(exact.phase_deg, abs=4.0)
    # The grinder slide has a tone at 641 Hz, which makes it seem 0.22 larger there.
    assert stage.prediction.peak_sensitivity == pytest.approx(exact.peak_sensitivity, abs=0.25)
    # 6 dB, 35 degrees and Ms 2.2 were wanted, and one of them is reached.
    assert exact.gain_db >= 5.5
    assert exact.phase_deg >= 31.0
    assert exact.peak_sensitivity <= 2.4
    assert exact.gain_db <= 6.5 or exact.phase_deg <= 39.0 or exact.peak_sensitivity >= 2.0
    highest = rehearsal.tables[0].gains[int(rehearsal.output("speed_gain_rung").max())]
    assert stage.theory is not None
    assert stage.theory.limit is not None
    assert highest <= SHARE * stage.theory.limit
    assert summary.torque_oscillation_max_of_limit <= 0.08
    assert summary.machine_time_s <= 14.0


def test_measured_response_is_the_exact_one() -> None:
    """Against python-control's frequency response of the linear loop, where noise is small."""
    rehearsal, _ = rehearsed("grinder-slide")
    response = rehearsal.response
    assert response is not None
    gain = rehearsal.tables[0].gains[response.rung]
    loop = machine_loop(rehearsal.machine, "speed_gain", {})
    system = control.ss(
        loop.base, loop.injection[:, None], -gain * loop.feedback[None, :], 0, loop.tick_s
    )
    known = response.frequency_hz < 1000.0
    exact = system(np.exp(2j * np.pi * response.frequency_hz[known] * loop.tick_s))
    errors = np.abs(response.open_loop()[known] / exact - 1.0)
    assert np.median(errors) < 0.02
    assert np.quantile(errors, 0.95) < 0.1
    # At one line, 641 Hz, the machine has a tone of its own, whatever the seed.
    assert np.sort(errors)[-2] < 0.1
    assert errors.max() < 0.5


def test_json_has_what_was_measured() -> None:
    _, summary = rehearsed("door-hoist")
    prediction = json.loads(json.dumps(summary.as_json()))["stages"][0]["prediction"]
    assert prediction["agreed"] is True
    assert {
        "predicted_limit", "prediction_spread", "gain_margin_db", "phase_margin_deg",
        "peak_sensitivity",
    } <= set(prediction)  # fmt: skip


def test_what_noise_hides_is_searched_for_by_crossing() -> None:
    """A coarse encoder: no prediction agrees, and the trial goes on as the standard one does."""
    benches = Benches(TRIAL)
    hidden = 0
    for seed in range(5):
        machine = sample(FAMILIES["encoder"], seed)
        if machine.drive.encoder_counts_per_turn > 2**16:
            continue
        summary = summarise(rehearse(benches.mounted(machine), seed))
        prediction = summary.stages[0].prediction
        assert not summary.violations
        assert prediction is None or not prediction.agreed or prediction.prediction_spread <= 0.25
        hidden += prediction is None or not prediction.agreed
    assert hidden > 0


@pytest.mark.parametrize(("spread", "agreed"), [(1024, True), (1025, False)])
def test_predictions_in_much_noise_count_for_nothing(spread: int, agreed: bool) -> None:
    """Planted: they agree, but noise is more than a quarter of the predicted limit."""
    told = Override(0, FOR_EVER, "prediction_spread", spread)
    rehearsal = rehearse(
        Bench(TRIAL, load_machine("grinder-slide"), changeable=True), 3, overrides=[told]
    )
    assert rehearsal.variable("prediction_found").any() == agreed
    assert (rehearsal.log.state == TRIAL.index.states["detect"]).any() != agreed


def test_no_narrow_resonance_slips_between_two_lines() -> None:
    """Damping ratio 0.003 to 0.01 at 700 to 1000 Hz: 2 to 20 Hz wide between lines 16 Hz apart.

    -1 / L is nearly straight across a resonance, so that the crossing is never missed; bent as it
    is, it comes out low. Of 24 such axes from seed 92000 on, these are those farthest off.
    """
    narrow = dataclasses.replace(
        FAMILIES["resonance"], resonance_hz=(700.0, 1000.0), damping_ratio=(0.003, 0.01)
    )
    benches = Benches(TRIAL)
    for seed in (92010, 92017, 92023):
        summary = summarise(rehearse(benches.mounted(sample(narrow, seed)), seed))
        prediction = summary.stages[0].prediction
        assert prediction is not None
        assert prediction.predicted_share is not None
        assert 0.8 < prediction.predicted_share < 1.02, seed


@pytest.mark.parametrize("seed", [993044, 993051, 993077])
def test_narrow_resonances_across_a_line_without_signal_are_no_noise(seed: int) -> None:
    """Of 200 axes at 700 to 1500 Hz these were predicted 1.5 to 10 times too high."""
    narrow = dataclasses.replace(
        FAMILIES["resonance"], resonance_hz=(700.0, 1500.0), damping_ratio=(0.003, 0.01)
    )
    summary = summarise(rehearse(Benches(TRIAL).mounted(sample(narrow, seed)), seed))
    stage = summary.stages[0]
    assert stage.prediction is not None
    assert stage.prediction.predicted_share is not None
    assert 0.85 < stage.prediction.predicted_share < 1.07
    assert stage.theory is not None
    assert stage.theory.result_share is not None
    assert stage.theory.result_share < 0.55


def test_interpolation_errors_that_fall_into_the_band_are_told_from_the_loop() -> None:
    """Two cruise speeds: what turns with the shaft is at another line at each of them."""
    benches = Benches(TRIAL)
    for seed in (91008, 91012, 91016):
        summary = summarise(rehearse(benches.mounted(sample(FAMILIES["disturbed"], seed)), seed))
        prediction = summary.stages[0].prediction
        assert prediction is not None
        assert prediction.agreed, seed
        assert prediction.predicted_share == pytest.approx(1.0, abs=0.03), seed


@pytest.mark.parametrize(("off", "named"), [(0.9, True), (0.95, False), (1.0, False), (1.1, True)])
def test_a_crossing_that_contradicts_the_prediction_is_named(off: float, named: bool) -> None:
    _, summary = rehearsed("grinder-slide")
    stage = summary.stages[0]
    assert stage.prediction is not None
    crossed = dataclasses.replace(stage, limit=stage.prediction.predicted_limit / off)
    lines = summary_lines(dataclasses.replace(summary, stages=(crossed, *summary.stages[1:])))
    assert any("contradiction:" in line for line in lines) == named


@pytest.mark.parametrize("seed", [970064, 970150, 970179])
def test_slow_axes_are_not_shaken_to_a_standstill(seed: int) -> None:
    """0.3 to 1.3 rad/s: where the test signal turns the motor back, friction damps the loop.

    With the signal at the height of fast axes all three were predicted 6 to 18 % too high, by
    measurements that agreed: friction is as strong in each of them.
    """
    summary = summarise(rehearse(Benches(TRIAL).mounted(sample(FAMILIES["motion"], seed)), seed))
    prediction = summary.stages[0].prediction
    assert prediction is not None
    assert prediction.predicted_share == pytest.approx(1.0, abs=0.04)


def test_picture_of_the_response(tmp_path) -> None:
    rehearsal, summary = rehearsed("door-hoist")
    assert save_response_picture(tmp_path / "response.png", rehearsal, summary)
    assert (tmp_path / "response.png").stat().st_size > 10_000


def changed(old: str, new: str, tmp_path):
    text = shipped_trial_path("gentle").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "gentle.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return load_trial(path)


@pytest.mark.parametrize(
    ("old", "new", "place", "remedy"),
    [
        ("wanted_gain_margin_db = { value = 6", "wanted_gain_margin_db = { value = 2",
         "wanted_gain_margin_db", "from 3 to 20"),
        ("wanted_gain_margin_db = { value = 6", "wanted_gain_margin_db = { value = 21",
         "wanted_gain_margin_db", "from 3 to 20"),
        ("wanted_gain_margin_db = { value = 6", "wanted_gain_margin_db = { value = 9",
         "wanted_gain_margin_db", "margin_rungs to 24"),
        ("measuring_torque_permille = { value = 54", "measuring_torque_permille = { value = 80",
         "measuring_torque_permille", "lower the test signal"),
        ("measuring_torque_permille = { value = 54", "measuring_torque_permille = { value = 1200",
         "measuring_torque_permille", "from 1 to 1000"),
    ],
)  # fmt: skip
def test_wishes_that_cannot_be_are_refused(old, new, place, remedy, tmp_path, capsys) -> None:
    trial = changed(old, new, tmp_path)
    with pytest.raises(InputError) as refused:
        Bench(trial, load_machine("grinder-slide"))
    problem = refused.value.problems[0]
    assert place in problem.place
    assert remedy in problem.remedy
    # The same where only the file is looked at.
    assert main(["check", str(tmp_path / "gentle.toml")]) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert place in said
    assert remedy in said


def test_slow_axes_get_a_lower_test_signal() -> None:
    """Its height follows cruise speed; the speed that it gives the rotor is its integral."""
    machine = load_machine("grinder-slide")
    steps = []
    for speed in (0.1, 0.2, 1e3):
        motion = dataclasses.replace(machine.motion, cruise_speed_rad_per_s=speed)
        tables = axis_tables(TRIAL, axis_data(dataclasses.replace(machine, motion=motion)))
        steps.append(tables[0].response.step)
    assert steps[1] == pytest.approx(2 * steps[0], abs=1)
    assert steps[2] > 2 * steps[1]
    shape, drive = tables[0].response.shape, machine.drive
    torque = np.array(shape) * steps[0] * 8.0 / 2**24 * drive.rated_torque_nm
    speed = np.cumsum(torque) * drive.control_tick_s / drive.rotor_inertia_kgm2
    assert np.std(speed) == pytest.approx(0.1 * 0.1, rel=0.03)


def test_a_rung_above_the_share_is_refused() -> None:
    stage = dataclasses.replace(TRIAL.stages[0], ratio=1.4)
    with pytest.raises(InputError, match=r"at most 1\.333"):
        response_wanted(TRIAL, stage)


def test_a_constant_that_is_missing_is_named(tmp_path) -> None:
    text = shipped_trial_path("gentle").read_text(encoding="utf-8")
    lines = [x for x in text.splitlines() if not x.startswith("wanted_phase_margin_deg")]
    path = tmp_path / "gentle.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(InputError, match="wanted_phase_margin_deg"):
        Bench(load_trial(path), load_machine("grinder-slide"))


def test_the_band_ends_below_half_the_control_rate() -> None:
    """The drive that can oscillate nearest to its rate: no lag but its own ticks."""
    machine = load_machine("grinder-slide")
    drive = dataclasses.replace(
        machine.drive, current_loop_time_constant_s=0.0, speed_source="sensor",
        torque_delay_ticks=1, control_tick_s=1e-3, speed_filter_time_constant_s=0.0,
    )  # fmt: skip
    slow = dataclasses.replace(machine, drive=drive)
    table = Bench(TRIAL, slow).tables[0].response
    assert table is not None
    assert table.last_line <= 240


def test_axis_too_slow_for_any_test_signal_is_told_how_fast_it_has_to_be():
    axis = axis_data(load_machine("glaze-gantry"))
    with pytest.raises(InputError) as refused:
        axis_tables(TRIAL, dataclasses.replace(axis, cruise_speed_rad_per_s=1e-6))
    (problem,) = refused.value.problems
    assert problem.place == "cruise speed" and "at least" in problem.expected
    least = float(problem.expected.split()[2])
    assert axis_tables(TRIAL, dataclasses.replace(axis, cruise_speed_rad_per_s=1.01 * least))
