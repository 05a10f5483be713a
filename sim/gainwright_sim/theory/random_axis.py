"""Random axes for campaigns: rigid, two-mass and three-mass, over the range of real machine parks.

Everything a trial is given (ratings, drive timing, start gain) is set from the motor's nameplate
alone; the load, the springs and the friction are what the trial has to find out about.
"""

from __future__ import annotations

import math

import numpy as np

from gainwright_sim.machine.mechanics import rigid_chain, two_mass_chain
from gainwright_sim.machine.model import Chain, Drive, Friction, Machine, Motion, SpeedLoop
from gainwright_sim.plant.chain import anti_resonances_hz, resonances_hz

CONTROL_TICK_S = 125e-6
START_GAIN_FACTOR = 0.02
"""Start gain = this x rotor inertia / control tick.

Limits of the seeds 0 to 1999 lie between 0.023 and 4.5 rotor inertias per tick (median 0.62), so
that none is unstable at the start and all are in reach of 125 rungs of 4.5 %.
"""

MOTOR_INERTIA_KGM2 = (1e-4, 1e-2)
LOAD_RATIO = (0.3, 6.0)
ANTI_RESONANCE_HZ = (3.0, 600.0)
RESONANCE_DAMPING = (0.005, 0.1)
CURRENT_LOOP_S = (0.8e-4, 2.0e-4)
RIGID_SHARE, THREE_MASS_SHARE = 0.2, 0.2

_TOP_SPEED_RAD_PER_S = 314.0
_CRUISE_SPEED_RAD_PER_S = 6.0
_WINDOW_RAD = 12.0
_REVERSAL_S, _JERK_TIME_S = 0.1, 0.04


def sample_axis(seed: int) -> Machine:
    """Return the random axis of a seed: 8 kHz, 20-bit encoder, torque noise 1e-4 of rated.

    Logarithmically uniform: motor inertia, load/motor inertia ratio, first anti-resonance, damping
    ratio of the first resonance, current-loop time constant. One axis in five is rigid, one in
    five has three masses. Coulomb friction is 0 to 3 % of rated torque, on motor or load.
    """
    random = np.random.default_rng((0x61786973, seed))
    motor_kgm2 = _log_uniform(random, MOTOR_INERTIA_KGM2)
    chain = _chain(random, motor_kgm2)
    # Servo motors of one family: torque grows with about the 3/4 power of the rotor inertia.
    rated_nm = 10.0 * (motor_kgm2 / 1e-3) ** 0.75
    acceleration = min(
        0.4 * rated_nm / chain.total_inertia_kgm2, 2.0 * _CRUISE_SPEED_RAD_PER_S / _REVERSAL_S
    )
    return Machine(
        name=f"random-axis-{seed}",
        description="A random axis.",
        origin=f"invented: drawn at random, seed {seed}",
        chain=chain,
        friction=_friction(random, rated_nm),
        drive=Drive(
            control_tick_s=CONTROL_TICK_S,
            torque_delay_ticks=1,
            current_loop_time_constant_s=_log_uniform(random, CURRENT_LOOP_S),
            speed_filter_time_constant_s=0.0,
            rotor_inertia_kgm2=motor_kgm2,
            rated_torque_nm=rated_nm,
            torque_limit_nm=2.5 * rated_nm,
            top_speed_rad_per_s=_TOP_SPEED_RAD_PER_S,
            encoder_counts_per_turn=2**20,
            torque_noise_per_unit=1e-4,
        ),
        speed_loop=SpeedLoop(
            start_speed_gain_nms_per_rad=START_GAIN_FACTOR * motor_kgm2 / CONTROL_TICK_S,
            integral_time_s=0.1,
            hold_gain_per_s=4.0,
        ),
        motion=Motion(
            travel_window_rad=_WINDOW_RAD,
            cruise_speed_rad_per_s=_CRUISE_SPEED_RAD_PER_S,
            acceleration_rad_per_s2=acceleration,
            jerk_rad_per_s3=acceleration / _JERK_TIME_S,
        ),
        brake=None,
        motor_rad_per_load_m=None,
    )


def _log_uniform(random: np.random.Generator, span: tuple[float, float]) -> float:
    return float(math.exp(random.uniform(math.log(span[0]), math.log(span[1]))))


def _chain(random: np.random.Generator, motor_kgm2: float) -> Chain:
    load_kgm2 = motor_kgm2 * _log_uniform(random, LOAD_RATIO)
    anti_resonance_hz = _log_uniform(random, ANTI_RESONANCE_HZ)
    damping_ratio = _log_uniform(random, RESONANCE_DAMPING)
    middle_share = random.uniform(0.1, 0.9)
    spring_ratio = _log_uniform(random, (0.3, 30.0))
    draw = random.uniform()
    if draw < RIGID_SHARE:
        return rigid_chain(motor_kgm2 + load_kgm2)
    if draw < 1.0 - THREE_MASS_SHARE:
        stiffness = load_kgm2 * (2.0 * math.pi * anti_resonance_hz) ** 2
        return two_mass_chain(motor_kgm2, load_kgm2, stiffness, damping_ratio)
    inertias = (motor_kgm2, middle_share * load_kgm2, (1.0 - middle_share) * load_kgm2)
    return _scaled_chain(inertias, (spring_ratio, 1.0), anti_resonance_hz, damping_ratio)


def _scaled_chain(
    inertias: tuple[float, ...], pattern: tuple[float, ...], anti_resonance_hz: float, ratio: float
) -> Chain:
    """Return the chain whose springs follow ``pattern``, with the wanted first anti-resonance.

    Damping is in proportion to stiffness, so that the first resonance has the damping ``ratio``
    and higher ones more: zeta = beta omega / 2 for d = beta c.
    """
    draft = Chain(inertias, pattern, (0.0,) * len(pattern))
    scale = (anti_resonance_hz / anti_resonances_hz(draft)[0]) ** 2
    stiffnesses = tuple(scale * value for value in pattern)
    undamped = Chain(inertias, stiffnesses, (0.0,) * len(pattern))
    beta_s = 2.0 * ratio / (2.0 * math.pi * resonances_hz(undamped)[0])
    return Chain(inertias, stiffnesses, tuple(beta_s * value for value in stiffnesses))


def _friction(random: np.random.Generator, rated_nm: float) -> Friction:
    coulomb_nm = rated_nm * random.uniform(0.0, 0.03)
    on_load = bool(random.uniform() < 0.5)
    motor_viscous, load_viscous = (
        rated_nm * random.uniform(0.0, 0.02) / _TOP_SPEED_RAD_PER_S for _ in range(2)
    )
    return Friction(
        motor_viscous_nms_per_rad=motor_viscous,
        motor_coulomb_nm=0.0 if on_load else coulomb_nm,
        load_viscous_nms_per_rad=load_viscous,
        load_coulomb_nm=coulomb_nm if on_load else 0.0,
    )
