"""Springs that do not hold both ways: play in a gear, and a belt whose loose span goes slack.

The linear plant has the whole spring; what it has too much is taken off again as a pair of opposite
torques on motor and load, held over a tick as in its middle, so that momentum stays and energy does
to second order. The reference for ``rig_play.h``.

Play of g in all: no torque while the twist is within +-g/2, then the spring. Belt: each span has
its own stiffness and the pretension T; a belt pulls and never pushes, so that a span is slack, and
its force 0, once the twist has taken all of T off it. (Common practice of belt drives, no source.)
"""

from __future__ import annotations

from gainwright_sim.machine.model import Play


def excess_nm(play: Play, twist_rad: float) -> float:
    """Return what the linear spring pulls too much at a twist; positive: motor ahead of load."""
    half = 0.5 * play.gap_rad
    excess = play.gap_stiffness_nm_per_rad * min(max(twist_rad, -half), half)
    if play.pretension_nm > 0.0:
        excess += max(0.0, play.second_nm_per_rad * twist_rad - play.pretension_nm)
        excess += min(0.0, play.first_nm_per_rad * twist_rad + play.pretension_nm)
    return excess
