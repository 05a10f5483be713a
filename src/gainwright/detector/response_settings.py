"""Settings of the loop-response measurement: what a trial says of it, and the exported integers."""

from __future__ import annotations

from dataclasses import dataclass

POINTS = 512
"""Of a period of the test signal, whatever the stride."""
LINES = POINTS // 2
PERIODS_MAX = 32
NOISE_STEP, NOISE_PLACE = 4, 2
"""Lines k with k % NOISE_STEP == NOISE_PLACE have no excitation: they show the noise."""
NEAR_RUNGS, NEAR_EIGHTHS = 32, 6
"""Within so many rungs of the predicted limit the test signal has so many eighths of its height;"""
NEAREST_RUNGS, LEAST_SPREAD, LITTLE_SPREAD, HALF_PERIODS = 20, 160, 256, 5
"""within so many half of that, if no more noise is to be expected then; and in every other
measurement, if no more than the next is; and both if there is room for so many periods."""
RUNG = 256
"""Positions on the gain ladder are in 1/256 rung."""
CROSSINGS = 6
"""Lowest crossings of an evaluation that are kept for the next."""
SHAPE_STEPS = 8
"""The test signal is its shape times the step times so many eighths."""
SPREAD_MAX = 65535
ROOM_MAX = 127
RESPONSE_FINDINGS = (
    "measured_periods",
    "evaluated",
    "predictions",
    "prediction_spread",
    "rungs_to_limit",
    "rungs_to_result",
)
"""Inputs that the measurement supplies, in the order of ``enum gw_response_finding``."""
RESPONSE_INPUT = "predictions"
"""A trial with this input has the loop response measured; others have none of it in their C."""
CONSTANT_RANGES = {
    "wanted_gain_margin_db": (3, 20),
    "wanted_phase_margin_deg": (5, 80),
    "wanted_peak_sensitivity_percent": (110, 1000),
    "measuring_torque_permille": (1, 1000),
    "measuring_lowest_percent": (20, 100),
    "measuring_highest_percent": (150, 1000),
    "measuring_speed_permille": (1, 1000),
    "shaken_speed_permille": (1, 10000),
    "settle_percent": (0, 100),
    "least_periods": (1, PERIODS_MAX),
    "periods_wanted": (2, PERIODS_MAX),
    "periods_more": (0, PERIODS_MAX),
    "agreement_permille": (1, 200),
}
"""Constants of such a trial that the export reads, with the lowest and highest value allowed."""


@dataclass(frozen=True, slots=True)
class ResponseWanted:
    """What a trial says of the measurement."""

    gain_margin: float
    """Limit / result, above 1."""
    phase_margin_rad: float
    peak_sensitivity: float
    """Ms, largest modulus of 1 / (1 + L)."""
    torque_share: float
    """Height of the test signal, share of the torque limit."""
    lowest_share: float
    """Band of the test signal, shares of the lowest oscillation frequency."""
    highest_share: float
    speed_share: float
    """Effective speed that the test signal gives the rotor alone, at most, of cruise speed."""
    shaken_share: float
    """Effective speed by which the motor may swing while it is measured, of cruise speed."""
    settle_share: float
    """Of a period, before anything is summed."""
    least_periods: int
    periods: int
    """Of a whole measurement."""
    periods_more: int
    """So many more with each further one at the same gain."""
    agreement: float
    """Predictions of the limit agree if they differ by no more, as a share of it."""


@dataclass(frozen=True, slots=True)
class ResponseSettings:
    """As ``gw_response_settings``."""

    shape: tuple[int, ...]
    """One period, up to 127, one sample per control tick; its sum is 0."""
    lines: tuple[tuple[int, int], ...]
    """D of each line from ``first_line`` on, behind the high-pass: real and imaginary part."""
    step: int
    """The test signal is shape x step x 8, Q4.24, or fewer eighths of it."""
    stride: int
    point_shift: int
    """2^point_shift is the stride or more: points are means, not sums."""
    settle_ticks: int
    least_periods: int
    window: int
    """Periods of a whole measurement."""
    window_more: int
    first_line: int
    last_line: int
    gap_from: int
    """Above this line and below the next no loop can oscillate: what crosses there is noise."""
    gap_to: int
    flat_line: int
    exponent: int
    tangent: int
    inverse_square: int
    margin: int
    octave: int
    agreement: int
    shaken: int
    """Position on the ladder, as it were, of the torque command by which the controller of rung 0
    answers a motor that is shaken too much; a rung higher its answer is."""

    @property
    def period_ticks(self) -> int:
        """Control ticks of a period."""
        return len(self.shape)

    def line_hz(self, line: int, control_tick_s: float) -> float:
        """Return the frequency of a line."""
        return line / (self.period_ticks * control_tick_s)


def is_noise_line(line: int) -> bool:
    """Whether a line has no excitation."""
    return line % NOISE_STEP == NOISE_PLACE
