"""Quantisation of second-order sections, and what it costs.

Noise and dead-band figures are for one section alone, in units of the last place of its output
word. They follow from the rounding error, fed back once by saving the fraction, entering through
(1 - 1/z) / A(z): its variance gain in closed form (sum of the squared impulse response of a
second-order section, a textbook result), its absolute bound as half the sum of the magnitudes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gainwright.fixed.biquad_reference import BiquadCoefficients
from gainwright.fixed.qformat import COEFFICIENT, QFormat
from gainwright.fixed.section import SecondOrderSection, cascade_response, root_frequency_hz

_TAIL = 1e-6
"""The impulse response is summed until its envelope has fallen to this part."""
_LONGEST_RESPONSE = 20_000_000


@dataclass(frozen=True, slots=True)
class QuantisedSection:
    """Raw words of one section, the format they are in, and the design they came from."""

    designed: SecondOrderSection
    coefficients: BiquadCoefficients
    format: QFormat

    def realised(self) -> SecondOrderSection:
        """Return the section that the raw words stand for."""
        b0, b1, b2, a1, a2 = (self.format.to_float(c) for c in self.coefficients.as_tuple())
        return SecondOrderSection(b0, b1, b2, -a1, -a2)


@dataclass(frozen=True, slots=True)
class SectionError:
    """What quantisation did to one section, and what rounding adds while it runs."""

    pole_radius: tuple[float, float]
    """Designed and realised, of the pole farthest from the origin."""
    pole_frequency_hz: tuple[float, float]
    """Designed and realised, of the same pole."""
    coefficient_error: float
    """Largest |realised - designed| of the five coefficients."""
    noise_rms_lsb: float
    """Standard deviation of the output's rounding noise."""
    dead_band_lsb: float
    """No error by rounding, limit cycles included, exceeds this."""


@dataclass(frozen=True, slots=True)
class ResponseError:
    """Largest magnitude error of a cascade over a band."""

    largest_db: float
    at_hz: float
    band_hz: tuple[float, float]


def quantise_section(
    section: SecondOrderSection, q_format: QFormat = COEFFICIENT
) -> QuantisedSection:
    """Quantise to the nearest words; zeros at z = 1 and z = -1 stay exactly there.

    Raises:
        ValueError: a coefficient does not fit the format, or the realised section is not stable.
    """
    stored = {"b0": section.b0, "b1": section.b1, "b2": section.b2}
    stored |= {"a1": -section.a1, "a2": -section.a2}
    for name, value in stored.items():
        if not q_format.holds(value):
            raise ValueError(
                f"coefficient {name} = {value} does not fit {q_format} "
                f"({q_format.to_float(q_format.lowest)} to {q_format.to_float(q_format.highest)})"
            )
    words = {name: q_format.quantise(value) for name, value in stored.items()}
    words |= _exact_numerator(section, words["b0"])
    result = QuantisedSection(section, BiquadCoefficients(**words), q_format)
    if not result.realised().is_stable():
        raise ValueError(
            f"quantised to {q_format} the section is not stable: poles {result.realised().poles()}"
        )
    return result


def quantise_sections(
    sections: Sequence[SecondOrderSection], q_format: QFormat = COEFFICIENT
) -> tuple[QuantisedSection, ...]:
    """Quantise each section of a cascade; errors as :func:`quantise_section`."""
    return tuple(quantise_section(section, q_format) for section in sections)


def section_error(quantised: QuantisedSection, sample_rate_hz: float) -> SectionError:
    """Return the error measures of one section."""
    realised = quantised.realised()
    pairs = [_outer_pole(section) for section in (quantised.designed, realised)]
    differences = [
        abs(getattr(realised, name) - getattr(quantised.designed, name))
        for name in ("b0", "b1", "b2", "a1", "a2")
    ]
    return SectionError(
        pole_radius=(abs(pairs[0]), abs(pairs[1])),
        pole_frequency_hz=(
            root_frequency_hz(pairs[0], sample_rate_hz),
            root_frequency_hz(pairs[1], sample_rate_hz),
        ),
        coefficient_error=max(differences),
        noise_rms_lsb=math.sqrt(noise_gain(realised) / 12.0),
        dead_band_lsb=0.5 * _magnitude_sum(realised, (1.0, -1.0)),
    )


def noise_gain(section: SecondOrderSection) -> float:
    """Return the variance gain from a white rounding error to the output: (1 - 1/z) / A(z)."""
    a1, a2 = section.a1, section.a2
    return 2.0 / ((1.0 - a2) * (1.0 + a2 - a1))


def largest_gain(section: SecondOrderSection) -> float:
    """Return the largest |output| for |input| at most one, whatever the input: sum of |h|."""
    return _magnitude_sum(section, (section.b0, section.b1, section.b2))


def response_error(
    quantised: Sequence[QuantisedSection],
    sample_rate_hz: float,
    low_hz: float,
    high_hz: float,
    points: int = 2000,
) -> ResponseError:
    """Return the largest magnitude error in dB, on a logarithmic grid from low to high.

    The band must leave out zeros of the response, where a ratio in dB means nothing.
    """
    if not 0.0 < low_hz < high_hz <= sample_rate_hz / 2.0:
        raise ValueError(
            f"band {low_hz} to {high_hz} Hz, expected rising, above 0 and at most half the sample "
            f"rate of {sample_rate_hz} Hz"
        )
    grid_hz = np.geomspace(low_hz, high_hz, points)
    designed, realised = (
        np.abs(cascade_response(sections, grid_hz, sample_rate_hz))
        for sections in ([q.designed for q in quantised], [q.realised() for q in quantised])
    )
    error_db = np.abs(20.0 * np.log10(realised / designed))
    worst = int(np.argmax(error_db))
    return ResponseError(float(error_db[worst]), float(grid_hz[worst]), (low_hz, high_hz))


def _exact_numerator(section: SecondOrderSection, b0: int) -> dict[str, int]:
    """Numerators that are small integer multiples of b0 keep that ratio after rounding."""
    if section.b0 == 0.0:
        return {}
    ratios = (section.b1 / section.b0, section.b2 / section.b0)
    if not all(ratio in (-2.0, -1.0, 0.0, 1.0, 2.0) for ratio in ratios):
        return {}
    return {"b1": int(ratios[0]) * b0, "b2": int(ratios[1]) * b0}


def _outer_pole(section: SecondOrderSection) -> complex:
    return complex(max(section.poles(), key=abs))


def _magnitude_sum(section: SecondOrderSection, numerator: tuple[float, ...]) -> float:
    """Sum of |impulse response| of numerator / A(z), plus a bound of what is left out."""
    from scipy.signal import lfilter  # here, as it takes long to import

    radius = abs(_outer_pole(section))
    length = 64 if radius < 0.5 else math.ceil(math.log(_TAIL) / math.log(radius)) + 64
    if length > _LONGEST_RESPONSE:
        raise ValueError(f"pole radius {radius!r} is too near one to sum the impulse response")
    impulse = np.zeros(length)
    impulse[0] = 1.0
    response = lfilter(numerator, (1.0, section.a1, section.a2), impulse)
    return float(np.sum(np.abs(response)) * (1.0 + _TAIL))
