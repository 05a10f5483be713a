"""Made-up recordings of two-mass axes under speed control, healthy or driven beyond their limit.

Not the rig: its signals come from the very C that ships, while these come from an independent
small simulation in numpy, many axes side by side, with everything that makes a healthy axis loud:
slow and fast motion, reversals, friction, torque ripple, cogging, gear passing, interpolation
error, encoder counts, current-sensor noise and noise that grows with speed. Amplitudes are drawn
from ranges around those of published drives (torque ripple 1 to 2 % for smooth machines and 5 to
10 % for plain ones, from memory; interpolation error 1 to 2 % of a line, trade summary).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import expm

FloatArray = npt.NDArray[np.float64]

FAMILIES = (
    "slow_then_fast",
    "ripple",
    "reversals",
    "gear",
    "interpolation",
    "speed_noise",
    "resonant",
    "mixed",
)
"""What each family has much of; everything else is drawn at its small value."""
TOP_SPEED = 300.0
"""rad/s; one per unit of speed."""
_TAPS = 3
_STATES = 4 + 1 + 1 + _TAPS


@dataclass(frozen=True, slots=True)
class RecordedAxis:
    """One recording and what is true of it."""

    family: str
    seed: int
    sample_rate_hz: float
    delay_ticks: int
    torque: FloatArray
    """Command per unit of rated torque, with the current sensor's noise, shape (samples,)."""
    speed_error: FloatArray
    speed: FloatArray
    """Both per unit of top speed."""
    beyond_limit_s: float | None
    """When the gain passed the exact stability limit; None on a healthy axis."""
    near_limit_s: float | None = None
    """When it passed 0.9 of it."""


@dataclass(slots=True)
class _Axes:
    """Parameters of many axes of one family that share tick and duration, shape (axes,) each."""

    tick_s: float
    samples: int
    delay: npt.NDArray[np.int64]
    load: FloatArray
    resonance_hz: FloatArray
    damping_ratio: FloatArray
    reset_s: FloatArray
    rated: FloatArray
    strength: dict[str, FloatArray]
    orders: dict[str, FloatArray]
    reference: FloatArray
    """Speed reference in rad/s, shape (samples, axes)."""
    step: FloatArray
    """Exact one-tick matrices of the two masses, shape (axes, 4, 4)."""
    push: FloatArray
    """... and of torque on motor and load, shape (axes, 4, 2)."""


def recorded_axes(family: str, seed: int, count: int, onset: bool) -> list[RecordedAxis]:
    """Return recordings of random axes of a family.

    Args:
        onset: raise the gain beyond the limit somewhere in the second half of the recording.
    """
    rng = np.random.default_rng([seed, FAMILIES.index(family), onset])
    axes = _draw(rng, family, count)
    limit = _limit(axes)
    _choose_encoder(axes, limit)
    gains, beyond = _gains(rng, axes, limit, onset)
    near = np.argmax(gains >= 0.9 * limit, axis=0)
    torque, error, speed = _simulate(rng, axes, gains)
    noise = axes.strength["sensor"] * rng.standard_normal(torque.shape)
    thin = 1 if onset else int(rng.choice([1, 1, 2, 4]))
    return [
        RecordedAxis(
            family,
            seed,
            1.0 / (axes.tick_s * thin),
            int(axes.delay[index]),
            ((torque / axes.rated)[:, index] + noise[:, index])[::thin].copy(),
            error[::thin, index] / TOP_SPEED,
            speed[::thin, index] / TOP_SPEED,
            float(beyond[index] * axes.tick_s) if onset else None,
            float(near[index] * axes.tick_s) if onset else None,
        )
        for index in range(count)
    ]


def _choose_encoder(axes: _Axes, limit: FloatArray) -> None:
    """Lower what an encoder does where it would drown the torque: nobody runs such an axis.

    At half the limit, the interpolation error's largest step between two ticks stays at a tenth of
    rated torque, and one count per tick at a twentieth.
    """
    speed_step = axes.rated / (0.5 * limit)
    lines = 2.0 * np.pi / axes.orders["lines"]
    largest = 0.1 * speed_step * axes.tick_s / (4.0 * lines)
    axes.strength["interpolation"] = np.minimum(axes.strength["interpolation"], largest)
    fewest = 2.0 * np.pi / (0.05 * speed_step * axes.tick_s)
    axes.orders["counts"] = np.maximum(axes.orders["counts"], 2.0 ** np.ceil(np.log2(fewest)))


def _draw(rng: np.random.Generator, family: str, count: int) -> _Axes:
    tick_s = float(rng.choice([1e-3, 5e-4, 2.5e-4]))
    samples = round(rng.uniform(7.0, 12.0) / tick_s)
    load = rng.uniform(0.3, 5.0, count)
    stiff = 0.4 / tick_s
    resonance_hz = np.exp(rng.uniform(np.log(20.0), np.log(0.6 * stiff), count))
    damping = np.exp(rng.uniform(np.log(0.01), np.log(0.08), count))
    step, push = _discrete(load, resonance_hz, damping, tick_s)
    return _Axes(
        tick_s=tick_s,
        samples=samples,
        delay=rng.integers(1, _TAPS + 1, count),
        load=load,
        resonance_hz=resonance_hz,
        damping_ratio=damping,
        reset_s=rng.uniform(0.02, 0.2, count),
        rated=(1.0 + load) * TOP_SPEED / rng.uniform(0.15, 0.5, count),
        strength=_strengths(rng, family, count),
        orders=_orders(rng, count),
        reference=np.stack([_motion(rng, family, tick_s, samples) for _ in range(count)], axis=1),
        step=step,
        push=push,
    )


_SMALL_AND_LARGE = {
    # name: small range, large range, families that have the large one
    "ripple": ((0.002, 0.01), (0.02, 0.1), ("ripple", "mixed")),
    "cogging": ((0.001, 0.004), (0.01, 0.03), ("ripple", "mixed")),
    "gear": ((0.0005, 0.003), (0.01, 0.05), ("gear", "mixed")),
    "interpolation": ((0.0, 0.002), (0.005, 0.02), ("interpolation", "mixed")),
    "speed_noise": ((0.001, 0.005), (0.02, 0.15), ("speed_noise", "resonant", "mixed")),
    "friction": ((0.01, 0.05), (0.05, 0.15), ("reversals", "mixed")),
    "sensor": ((1e-4, 2e-3), (2e-3, 1e-2), ("mixed",)),
    "load_noise": ((1e-4, 1e-3), (0.01, 0.1), ("resonant", "mixed")),
}


def _strengths(rng: np.random.Generator, family: str, count: int) -> dict[str, FloatArray]:
    """Return amplitudes: of rated torque, or of an encoder line for the interpolation error."""
    found = {}
    for name, (small, large, families) in _SMALL_AND_LARGE.items():
        low, high = large if family in families else small
        found[name] = np.exp(rng.uniform(np.log(max(low, 1e-6)), np.log(high), count))
    return found


def _orders(rng: np.random.Generator, count: int) -> dict[str, FloatArray]:
    """Return waves per turn of the motor."""
    return {
        "ripple": 6.0 * rng.integers(2, 6, count),
        "cogging": rng.choice([12.0, 18.0, 24.0, 36.0, 60.0, 72.0, 120.0], count),
        "gear": rng.integers(5, 60, count).astype(float),
        "lines": rng.choice([512.0, 1024.0, 2048.0], count),
        "counts": 2.0 ** rng.integers(14, 24, count),
    }


def _motion(rng: np.random.Generator, family: str, tick_s: float, samples: int) -> FloatArray:
    """Return a speed reference: a slow part, then fast moves with rests and reversals."""
    end_s = samples * tick_s
    slow_share = (
        rng.uniform(0.2, 0.5) if family in ("slow_then_fast", "mixed") else rng.uniform(0.0, 0.25)
    )
    slow = TOP_SPEED * np.exp(rng.uniform(np.log(0.005), np.log(0.08)))
    fast = TOP_SPEED * rng.uniform(0.25, 0.9)
    ramp_s = rng.uniform(0.05, 0.3)
    cruise = (0.1, 0.4) if family == "reversals" else (0.3, 2.0)
    knots, speed_s, sign = [(0.0, 0.0)], 0.0, 1.0
    while speed_s < end_s:
        top = slow if speed_s < slow_share * end_s else fast * rng.choice([1.0, 1.0, 0.6])
        hold_s = rng.uniform(*cruise)
        rest_s = rng.choice([0.0, rng.uniform(0.05, 0.4)])
        for lasts_s, level in ((ramp_s, top), (hold_s, top), (ramp_s, 0.0), (rest_s, 0.0)):
            speed_s += max(lasts_s, 1e-3)
            knots.append((speed_s, sign * level))
        sign = -sign
    times_s, levels = zip(*knots, strict=True)
    speed = np.interp(np.arange(samples) * tick_s, times_s, levels)
    width = max(1, round(rng.uniform(0.005, 0.5) * ramp_s / tick_s))
    padded = np.concatenate([np.zeros(width - 1), speed])
    return np.convolve(padded, np.full(width, 1.0 / width), mode="valid")


def _discrete(
    load: FloatArray, resonance_hz: FloatArray, damping_ratio: FloatArray, tick_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return exact one-tick matrices; states motor angle, motor speed, load angle, load speed."""
    omega = 2.0 * np.pi * resonance_hz
    reduced = load / (1.0 + load)
    stiffness, damping = omega**2 * reduced, 2.0 * damping_ratio * omega * reduced
    whole = np.zeros((len(load), 6, 6))
    whole[:, 0, 1] = whole[:, 2, 3] = 1.0
    for row, inertia, sign in ((1, np.ones_like(load), -1.0), (3, load, 1.0)):
        whole[:, row, 0], whole[:, row, 2] = sign * stiffness / inertia, -sign * stiffness / inertia
        whole[:, row, 1], whole[:, row, 3] = sign * damping / inertia, -sign * damping / inertia
        whole[:, row, 4 + row // 2] = 1.0 / inertia
    exact = expm(whole * tick_s)
    return exact[:, :4, :4], exact[:, :4, 4:]


def _closed_loop(axes: _Axes, gain: FloatArray) -> FloatArray:
    """Return the matrix of one tick of the linear loop, shape (axes, states, states).

    States: the two masses, the angle of the last tick, the integral, and the torques on their way.
    """
    count = len(gain)
    loop = np.zeros((count, _STATES, _STATES))
    loop[:, :4, :4] = axes.step
    error = np.zeros((count, _STATES))
    error[:, 0], error[:, 4] = -1.0 / axes.tick_s, 1.0 / axes.tick_s
    torque = gain[:, None] * error
    torque[:, 5] += gain
    loop[:, 4, 0] = 1.0
    loop[:, 5] = error * (axes.tick_s / axes.reset_s)[:, None]
    loop[:, 5, 5] += 1.0
    loop[:, 6] = torque
    for tap in range(1, _TAPS):
        loop[:, 6 + tap, 5 + tap] = 1.0
    # Torque of tick k acts over the tick that begins `delay` ticks later.
    rows = np.arange(count)
    loop[rows, :4, 5 + axes.delay] += axes.push[:, :, 0]
    return loop


def _radius(axes: _Axes, gain: FloatArray) -> FloatArray:
    """Return the largest modulus of the eigenvalues, the rigid-body angle left out."""
    values = np.linalg.eigvals(_closed_loop(axes, gain))
    moving = np.where(np.abs(values - 1.0) < 1e-6, 0.0, np.abs(values))
    return moving.max(axis=1)


def _limit(axes: _Axes) -> FloatArray:
    """Return the lowest gain at which the loop is unstable, by a ladder and bisection."""
    count = len(axes.load)
    low, high = np.zeros(count), np.full(count, np.inf)
    gain = np.full(count, 1e-3 / axes.tick_s)
    for _ in range(160):
        unstable = (_radius(axes, gain) > 1.0 + 1e-7) & ~np.isfinite(high)
        high = np.where(unstable, gain, high)
        low = np.where(np.isfinite(high), low, gain)
        gain = np.where(np.isfinite(high), gain, gain * 1.06)
    for _ in range(25):
        middle = 0.5 * (low + high)
        unstable = _radius(axes, middle) > 1.0 + 1e-7
        high, low = np.where(unstable, middle, high), np.where(unstable, low, middle)
    return low


def _gains(
    rng: np.random.Generator, axes: _Axes, limit: FloatArray, onset: bool
) -> tuple[FloatArray, FloatArray]:
    """Return gains, shape (samples, axes), and the sample at which each passes the limit."""
    count, samples = len(limit), axes.samples
    # Nobody raises a gain tenfold at once: what is seen then is the kick of the change itself.
    start = limit * (rng.uniform(0.5, 0.9, count) if onset else rng.uniform(0.1, 0.6, count))
    gains = np.broadcast_to(start, (samples, count)).copy()
    beyond = np.full(count, samples)
    if not onset:
        return gains, beyond
    for index in range(count):
        beyond[index] = round(samples * rng.uniform(0.4, 0.7))
        left_s = (samples - beyond[index]) * axes.tick_s
        share = rng.uniform(1.01, 1.12)
        while share < 3.0 and _rate(axes, index, share * limit[index]) * left_s < 14.0:
            share *= 1.02
        _raise(rng, gains[:, index], int(beyond[index]), limit[index], share, axes.tick_s)
    return gains, beyond


def _rate(axes: _Axes, index: int, gain: float) -> float:
    """Return by what power of e per second an oscillation grows."""
    gains = np.zeros(len(axes.load))
    gains[index] = gain
    values = np.linalg.eigvals(_closed_loop(axes, gains)[index])
    return float(np.log(np.abs(values).max()) / axes.tick_s)


def _raise(
    rng: np.random.Generator,
    gain: FloatArray,
    beyond: int,
    limit: float,
    share: float,
    tick_s: float,
) -> None:
    """Raise one axis' gain: at once, or on a ladder whose last rungs lie around the limit."""
    if rng.random() < 0.5:
        gain[beyond:] = share * limit
    else:
        rung = round(rng.uniform(0.15, 0.4) / tick_s)
        for number in range(-8, 20):
            start = max(0, beyond + number * rung)
            gain[start:] = min(share, 1.02 * 1.045**number) * limit
    if rng.random() < 0.3:
        # The operator lowers it near the end.
        gain[round(0.93 * len(gain)) :] = 0.3 * limit


def _simulate(
    rng: np.random.Generator, axes: _Axes, gains: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return torque command, speed error and measured speed, shape (samples, axes) each."""
    samples, count = axes.reference.shape
    torque, error, speed = (np.empty((samples, count)) for _ in range(3))
    state = np.zeros((count, 4))
    integral, last = np.zeros(count), np.zeros(count)
    taps = np.zeros((_TAPS, count))
    phases = rng.uniform(0.0, 2.0 * np.pi, (5, count))
    pick, most = np.arange(count), 2.5 * axes.rated
    a, rated, orders = axes.strength, axes.rated, axes.orders
    line, pulse = 2.0 * np.pi / orders["lines"], 2.0 * np.pi / orders["counts"]
    second = rng.uniform(0.2, 1.0, count)
    motor_noise, load_noise = (rng.standard_normal((samples, count)) for _ in range(2))
    for k in range(samples):
        angle, motor, twisted, load = state.T
        place = angle * orders["lines"]
        wave = np.sin(place + phases[0]) + second * np.sin(2.0 * place + phases[1])
        measured = np.floor((angle + a["interpolation"] * line * wave) / pulse) * pulse
        speed[k] = (measured - last) / axes.tick_s
        last = measured
        error[k] = axes.reference[k] - speed[k]
        wanted = gains[k] * (error[k] + integral)
        torque[k] = np.clip(wanted, -most, most)
        integral += np.where(wanted == torque[k], error[k] * axes.tick_s / axes.reset_s, 0.0)
        applied = taps[axes.delay - 1, pick]
        taps[1:] = taps[:-1].copy()
        taps[0] = torque[k]
        fast = np.abs(motor) / TOP_SPEED
        on_motor = applied * (1.0 + a["ripple"] * np.sin(orders["ripple"] * angle + phases[2]))
        on_motor += rated * a["cogging"] * np.sin(orders["cogging"] * angle + phases[3])
        on_motor += rated * a["speed_noise"] * fast * motor_noise[k]
        on_load = -rated * a["friction"] * np.tanh(load / (0.002 * TOP_SPEED))
        on_load += rated * a["gear"] * np.sin(orders["gear"] * twisted + phases[4])
        on_load += rated * a["load_noise"] * fast * load_noise[k]
        pushes = axes.push[:, :, 0] * on_motor[:, None] + axes.push[:, :, 1] * on_load[:, None]
        state = np.einsum("nij,nj->ni", axes.step, state) + pushes
    return torque, error, speed
