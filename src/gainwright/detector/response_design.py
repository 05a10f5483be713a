"""Finds the settings of the loop-response measurement from the drive's timing and a trial's wishes.

The test signal is a sum of sines without mean, one on each line of a period of 512 points but for
every fourth, with phases after Schroeder (1970, IEEE Trans. Inf. Theory 16:85), which keep its
peak low. Its band begins below the lowest frequency at which the loop can oscillate: where the
drive's own lag is small, phase margin and sensitivity cannot be bad, whatever the machine (the
plant's phase seen from the motor stays within 90 degrees), and it ends where that lag lets no loop
oscillate any more: a crossing above is noise. A late drive lets it oscillate again one turn of lag
later, from 450 to 630 degrees, as long as that comes before half the control rate; then the band
goes on to there, and what crosses between the two is noise. Amplitudes fall in proportion to
1/frequency from 1.8 times the lowest such frequency on, as the loop's answer does.
"""

from __future__ import annotations

import math

import numpy as np

from gainwright.detector.response_settings import (
    CONSTANT_RANGES,
    LINES,
    POINTS,
    RUNG,
    SHAPE_STEPS,
    ResponseSettings,
    ResponseWanted,
    is_noise_line,
)
from gainwright.detector.settings import HEADROOM_BITS, DetectorSettings
from gainwright.detector.timing import (
    QUARTER_TURN,
    DriveRatings,
    DriveTiming,
    drive_lag_rad,
    frequency_of_lag_hz,
)
from gainwright.errors import InputError, Problem
from gainwright.fixed.qformat import SIGNAL
from gainwright.language.model import Stage, Trial
from gainwright.stage_kind import StageKind

HIGHEST_SHARE = 0.75
"""Of the predicted limit: no gain above it is applied."""
LARGEST_STRIDE = 64
POINTS_PER_PERIOD = 10.0
"""At least so many points in a period of the lowest oscillation frequency."""
TIMING_RESERVE = 1.1
"""The band ends so much above the frequency beyond which the drive's lag lets no loop oscillate."""
HIGHEST_LINE = int(0.47 * POINTS)
FLAT_SHARE = 1.8
"""Up to this multiple of the lowest oscillation frequency all sines have the same amplitude."""
SHAKEN_NEVER = 2**20
"""Words of 32 bits are at most 700 rungs of 1.045 above 1, in 1/256 rung."""
SHAPE_ONE = 127
LINE_MAX = 32767


def response_wanted(trial: Trial, stage: Stage) -> ResponseWanted:
    """Return what a trial says of the measurement.

    Raises:
        InputError: a constant is missing or outside its range, or the signal is above the torque
            that counts as a burst.
    """
    values, problems = _constants(trial)
    if not problems:
        problems = _contradictions(trial, stage, values)
    if problems:
        raise InputError(problems)
    decibels = 10.0 ** (values["wanted_gain_margin_db"] / 20.0)
    return ResponseWanted(
        gain_margin=max(decibels, stage.ratio**stage.margin_rungs),
        phase_margin_rad=math.radians(values["wanted_phase_margin_deg"]),
        peak_sensitivity=values["wanted_peak_sensitivity_percent"] / 100.0,
        torque_share=values["measuring_torque_permille"] / 1000.0,
        lowest_share=values["measuring_lowest_percent"] / 100.0,
        highest_share=values["measuring_highest_percent"] / 100.0,
        speed_share=values["measuring_speed_permille"] / 1000.0,
        shaken_share=values["shaken_speed_permille"] / 1000.0,
        settle_share=values["settle_percent"] / 100.0,
        least_periods=values["least_periods"],
        periods=values["periods_wanted"],
        periods_more=values["periods_more"],
        agreement=values["agreement_permille"] / 1000.0,
    )


def _constants(trial: Trial) -> tuple[dict[str, int], list[Problem]]:
    known = {constant.name: constant.value for constant in trial.constants}
    problems = []
    for name, (low, high) in CONSTANT_RANGES.items():
        if name not in known:
            found, remedy = "no such constant", "declare it: the loop response is measured by it"
        elif not low <= known[name] <= high:
            found, remedy = f"{known[name]}", f"choose a value from {low} to {high}"
        else:
            continue
        problems.append(
            Problem(trial.name, f"[constants] {name}", found, f"{low} to {high}", remedy)
        )
    return known, problems


def _contradictions(trial: Trial, stage: Stage, values: dict[str, int]) -> list[Problem]:
    problems = []
    share = values["measuring_torque_permille"] / 1000.0
    if share >= stage.burst_share:
        problems.append(
            Problem(
                trial.name,
                "[constants] measuring_torque_permille",
                f"{share:g} of the torque limit",
                f"below {stage.burst_share:g}, which counts as a burst (burst_share)",
                "lower the test signal",
            )
        )
    if stage.ratio > 1.0 / HIGHEST_SHARE:
        problems.append(
            Problem(
                trial.name,
                f"stage {stage.name}, ratio",
                f"{stage.ratio:g}",
                f"at most {1.0 / HIGHEST_SHARE:.4g}: the gain is never to be above "
                f"{HIGHEST_SHARE} of the predicted limit, and one rung up would be",
                "use a smaller ratio and more rungs",
            )
        )
    decibels = 20.0 * stage.margin_rungs * math.log10(stage.ratio)
    if decibels < values["wanted_gain_margin_db"]:
        needed = math.ceil(
            values["wanted_gain_margin_db"] / (20.0 * math.log10(stage.ratio)) - 1e-9
        )
        problems.append(
            Problem(
                trial.name,
                "[constants] wanted_gain_margin_db",
                f"{values['wanted_gain_margin_db']} dB",
                f"at most {decibels:.2f} dB, which is what margin_rungs = {stage.margin_rungs} of "
                f"ratio {stage.ratio:g} keep",
                f"want less, or set margin_rungs to {needed}",
            )
        )
    return problems


class SlowAxisError(Exception):
    """The test signal follows cruise speed, and would be less than its smallest step."""

    def __init__(self, least_speed_rad_per_s: float) -> None:
        super().__init__(f"cruise speed below {least_speed_rad_per_s:.3g} rad/s")
        self.least_speed_rad_per_s = least_speed_rad_per_s


def design_response(
    wanted: ResponseWanted,
    kind: StageKind,
    stage: Stage,
    timing: DriveTiming,
    ratings: DriveRatings,
    detector: DetectorSettings,
    cruise_speed_rad_per_s: float,
    torque_per_speed_nms_per_rad: float,
) -> ResponseSettings:
    """Return the settings for one stage; the band ends below half the control rate.

    The last argument is the gain of the speed controller at rung 0, by which its torque command
    tells how fast the motor swings.

    Raises:
        SlowAxisError: the axis cruises so slowly that the test signal would be none.
    """
    period = 1.0 / (kind.lowest_oscillation_hz(timing) * timing.control_tick_s)
    stride = min(LARGEST_STRIDE, max(1, math.floor(period / POINTS_PER_PERIOD)))
    lowest_line = POINTS * stride / period
    first = max(1, math.ceil(wanted.lowest_share * lowest_line))
    line_s = POINTS * stride * timing.control_tick_s
    last_hz = TIMING_RESERVE * frequency_of_lag_hz(timing, 3.0 * QUARTER_TURN)
    last = gap_from = min(
        HIGHEST_LINE,
        math.floor(wanted.highest_share * lowest_line),
        math.ceil(last_hz * line_s),
    )
    gap_to = _second_band(timing, line_s)
    if gap_from < gap_to < HIGHEST_LINE:
        last_hz = TIMING_RESERVE * frequency_of_lag_hz(timing, 7.0 * QUARTER_TURN)
        last = min(HIGHEST_LINE, math.ceil(last_hz * line_s))
    else:
        gap_to = gap_from
    shape = test_signal(first, last, FLAT_SHARE * lowest_line, stride)
    shaken = speed_of_rotor(shape, timing.control_tick_s, ratings.rotor_inertia_kgm2)
    torque_nm = min(
        wanted.torque_share * ratings.torque_limit_nm,
        wanted.speed_share * cruise_speed_rad_per_s / shaken,
    )
    step = SIGNAL.quantise(torque_nm / ratings.rated_torque_nm / (SHAPE_ONE * SHAPE_STEPS))
    if step < 1:
        least_nm = ratings.rated_torque_nm * SHAPE_ONE * SHAPE_STEPS * SIGNAL.resolution
        raise SlowAxisError(least_nm * shaken / wanted.speed_share)
    point_shift = (stride - 1).bit_length()
    course = excitation(shape, step, stride, detector) / 2**point_shift
    lines, exponent = _line_words(course, first, last)
    octave = RUNG * math.log(2.0) / math.log(stage.ratio)
    return ResponseSettings(
        shape=shape,
        lines=lines,
        step=step,
        stride=stride,
        point_shift=point_shift,
        settle_ticks=round(wanted.settle_share * len(shape)),
        least_periods=wanted.least_periods,
        window=wanted.periods,
        window_more=wanted.periods_more,
        first_line=first,
        last_line=last,
        gap_from=gap_from,
        gap_to=gap_to,
        flat_line=math.floor(FLAT_SHARE * lowest_line),
        exponent=exponent,
        tangent=round(4096 * math.tan(wanted.phase_margin_rad)),
        inverse_square=round(65536 / wanted.peak_sensitivity**2),
        margin=math.ceil(octave * math.log2(wanted.gain_margin) - 1e-6),
        octave=round(octave),
        agreement=round(octave * math.log2(1.0 + wanted.agreement)),
        shaken=_shaken_position(
            torque_per_speed_nms_per_rad * wanted.shaken_share * cruise_speed_rad_per_s
            * _filtered_share(timing, kind.lowest_oscillation_hz(timing))
            / ratings.rated_torque_nm * stride / 2**point_shift, octave,
        ),
    )  # fmt: skip


def _second_band(timing: DriveTiming, line_s: float) -> int:
    """Return the line from which a late drive lets a loop oscillate again, one turn later.

    Beyond all lines where the drive's lag does not come to that.
    """
    hz = frequency_of_lag_hz(timing, 5.0 * QUARTER_TURN)
    if drive_lag_rad(timing, hz) < 5.0 * QUARTER_TURN * (1.0 - 1e-9):
        return LINES
    return math.floor(hz * line_s / TIMING_RESERVE)


def _shaken_position(torque_per_unit: float, octave: float) -> int:
    """Return how far a torque command, in units of the summed words, lies above 1.

    One above all that can be summed where there is no cruise speed to compare with.
    """
    if math.isinf(torque_per_unit):
        return SHAKEN_NEVER
    return round(octave * math.log2(torque_per_unit * 2 ** (SIGNAL.fraction_bits - HEADROOM_BITS)))


def _filtered_share(timing: DriveTiming, frequency_hz: float) -> float:
    """Return what the speed filter leaves of a swinging speed; of a faster one it leaves less."""
    filter_s = timing.speed_filter_time_constant_s
    if filter_s == 0.0:
        return 1.0
    pole = math.exp(-timing.control_tick_s / filter_s)
    angle = 2.0 * math.pi * frequency_hz * timing.control_tick_s
    return (1.0 - pole) / abs(1.0 - pole * complex(math.cos(angle), -math.sin(angle)))


def test_signal(first: int, last: int, flat_until: float, stride: int) -> tuple[int, ...]:
    """Return one period of the test signal, |sample| <= SHAPE_ONE, sum 0."""
    used = np.array([line for line in range(first, last + 1) if not is_noise_line(line)])
    order = np.arange(len(used))
    phases = -np.pi * order * (order - 1) / len(used)
    amplitudes = np.minimum(1.0, flat_until / used)
    time = np.arange(POINTS * stride) / (POINTS * stride)
    angles = 2.0 * np.pi * used[:, None] * time + phases[:, None]
    signal = (amplitudes[:, None] * np.cos(angles)).sum(axis=0)
    shape = np.rint(SHAPE_ONE * signal / np.abs(signal).max()).astype(int)
    # Rounding must not leave a mean, which would push the axis.
    excess = int(shape.sum())
    inner = np.flatnonzero(np.abs(shape) < SHAPE_ONE)
    shape[inner[: abs(excess)]] -= int(np.sign(excess))
    return tuple(int(value) for value in shape)


test_signal.__test__ = False  # type: ignore[attr-defined]


def speed_of_rotor(
    shape: tuple[int, ...], control_tick_s: float, rotor_inertia_kgm2: float
) -> float:
    """Return the effective speed that the test signal gives the rotor alone, in rad/s per N m.

    Per N m of the signal's height. Behind a motor that is shaken to a standstill and back friction
    changes its direction, and damps what it does not damp otherwise.
    """
    spectrum = np.fft.rfft(np.array(shape, dtype=float) / SHAPE_ONE)[1:] / len(shape)
    omega = 2.0 * np.pi * np.arange(1, len(spectrum) + 1) / (len(shape) * control_tick_s)
    return float(np.sqrt(2.0 * np.sum(np.abs(spectrum / omega) ** 2)) / rotor_inertia_kgm2)


def excitation(
    shape: tuple[int, ...], step: int, stride: int, detector: DetectorSettings
) -> np.ndarray:
    """Return D of each line, (LINES,), as a torque command of that course would be summed.

    In units of the summed words: behind the detector's high-pass and without its headroom bits.
    """
    ticks = len(shape)
    spectrum = np.fft.rfft(np.array(shape, dtype=float) * step * SHAPE_STEPS)
    z = np.exp(2j * np.pi * np.arange(len(spectrum)) / ticks)
    for section in detector.sections:
        numerator = section.b0 + section.b1 / z + section.b2 / z**2
        spectrum = spectrum * numerator / (2.0**30 - section.a1 / z - section.a2 / z**2)
    course = np.fft.irfft(spectrum, ticks) / 2**HEADROOM_BITS
    return np.fft.rfft(course.reshape(POINTS, stride).sum(axis=1))[:LINES]


def _line_words(
    lines: np.ndarray, first: int, last: int
) -> tuple[tuple[tuple[int, int], ...], int]:
    """Return the lines as words, and their exponent; a noise line has what it would have had."""
    used = [line for line in range(first, last + 1) if not is_noise_line(line)]
    moduli = np.interp(np.arange(last + 1), used, np.abs(lines[used]))
    whole = [
        complex(moduli[line]) if is_noise_line(line) else complex(lines[line])
        for line in range(first, last + 1)
    ]
    largest = max(max(abs(line.real), abs(line.imag)) for line in whole)
    exponent = max(0, math.ceil(math.log2(largest / LINE_MAX)))
    words = tuple(
        (round(line.real / 2.0**exponent), round(line.imag / 2.0**exponent)) for line in whole
    )
    return words, exponent
