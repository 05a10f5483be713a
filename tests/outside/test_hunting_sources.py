"""Hunting as the drive recognises it, on the published cycle of a PID loop with static friction.

Set-up: Canudas de Wit, Olsson, Astrom, Lischinsky 1995, IEEE Trans. Autom. Control 40(3):419,
fig. 8 (read in a public reconstruction); that static friction above Coulomb friction hunts with
every stabilising PID, and Coulomb friction alone converges: Armstrong-Helouvry and Amin 1996,
Automatica 32(5):679, and Ruderman 2020, arXiv 2006.08977 (abstracts). Amplitude 0.131306 (Fs -
Fc) and period are computed with an event-driven two-level model.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from gainwright_codegen.host import compile_and_load
from gainwright_codegen.sources import runtime_sources
from gainwright_sim.machine import Chain, Friction
from gainwright_sim.rig import library

from .test_friction_sources import AT_ONCE, axis

HUNTING = 4
"""Jumps in a row that the complete trial calls hunting."""
COUNT_M = 1e-3
TICK_S = 4e-3
_PROTOTYPE = """
int32_t jumps_of(const double *position, int32_t ticks, double count, double *size, int32_t *at);
"""
_PROBE = f"""
#include "rig_profile.h"
{_PROTOTYPE}
int32_t jumps_of(const double *position, int32_t ticks, double count, double *size, int32_t *at)
{{
    rig_profile p;
    int32_t k;
    int32_t most = 0;

    rig_profile_start(&p, position[0], position[0]);
    for (k = 0; k < ticks; k++) {{
        const int32_t before = p.jumps;

        rig_profile_stick(&p, position[k], count);
        if (p.jumps > most) {{
            most = p.jumps;
        }}
        if (p.jumps > before) {{
            *size = p.jump_rad;
            *at = k;
        }}
    }}
    return most;
}}
"""


@cache
def compiled():
    headers = {name: text for name, text in library.rig_sources().items() if name.endswith(".h")}
    headers |= {name: text for name, text in runtime_sources().items() if name.endswith(".h")}
    sources = headers | {"probe.c": _PROBE.encode()}
    return compile_and_load(sources, ("rig_profile.h",), name="profile", also=_PROTOTYPE)


def jumps(positions, count_m=COUNT_M):
    """Return the longest row of jumps, the size of the last, and the tick at which it counted."""
    ffi, lib = compiled()
    counted = np.floor(np.asarray(positions) / count_m) * count_m
    size, at = ffi.new("double *"), ffi.new("int32_t *")
    values = ffi.new("double[]", counted.tolist())
    return lib.jumps_of(values, len(counted), count_m, size, at), size[0], at[0]


def pid_positions(static_n: float, time_s: float):
    """u = -6 v - 3 (x - 1) - 4 integral of (x - 1), mass 1 kg, Fc 1 N."""
    friction = Friction(
        motor_coulomb_nm=1.0,
        motor_breakaway_nm=static_n,
        stribeck_speed_rad_per_s=AT_ONCE,
        motor_viscous_nms_per_rad=0.4,
    )
    moved, integral, positions = axis(Chain((1.0,), (), ()), friction, TICK_S), 0.0, []
    for _ in range(round(time_s / TICK_S)):
        error = moved.state[0] - 1.0
        integral += error * TICK_S
        moved.advance(-6.0 * moved.state[1] - 3.0 * error - 4.0 * integral)
        positions.append(float(moved.state[0]))
    return positions


@pytest.mark.parametrize(("static_n", "period_s"), [(1.5, 24.013), (2.0, 16.397)])
def test_the_published_cycle_is_hunting(static_n, period_s):
    """A jump leads from one rest to the other, two of them make the period."""
    positions = pid_positions(static_n, 5.0 * period_s)
    found, size, last = jumps(positions)
    assert found >= 6
    assert abs(size) == pytest.approx(2.0 * 0.131306 * (static_n - 1.0), rel=0.05)
    shorter = positions[: last - round(0.25 * period_s / TICK_S)]
    before = jumps(shorter)[2]
    assert 2.0 * (last - before) * TICK_S == pytest.approx(period_s, rel=0.03)


def test_ever_smaller_jumps_are_none():
    """Each rest error is 0.4586 of the last: an axis that comes to rest."""
    assert jumps(pid_positions(1.0, 200.0), 1e-4)[0] <= 1


TIME_S = np.arange(20_000) * 1e-3


@pytest.mark.parametrize("counts", [9.0, 12.5, 20.0, 100.0, 3000.0])
@pytest.mark.parametrize("hertz", [0.3, 1.0, 3.5, 20.0])
@pytest.mark.parametrize("growth_per_s", [-0.3, 0.0, 0.3])
def test_what_swings_does_not_hunt(counts, hertz, growth_per_s):
    """A load on its spring, or a loop beyond its limit: it turns round, but does not stick."""
    swing = counts * COUNT_M * np.exp(growth_per_s * (TIME_S - 10.0))
    assert jumps(swing * np.sin(2.0 * math.pi * hertz * TIME_S))[0] < HUNTING


def test_creeping_to_and_fro_does_not_hunt():
    steps = np.sign(np.sin(2.0 * math.pi * 0.5 * TIME_S))
    assert jumps(6.0 * COUNT_M * steps)[0] == 0
    assert jumps(20.0 * COUNT_M * steps)[0] >= 4


def test_stepping_on_in_one_direction_does_not_hunt():
    assert jumps(30.0 * COUNT_M * np.floor(TIME_S))[0] <= 1
