"""``python -m gainwright_sim.benchmark``: how fast the rig is on one core of this computer.

``--json`` prints ``machine``, ``control_tick_s``, ``machine_time_s`` (of one search), ``rig_ns``,
``bare_loop_ns``, ``numpy_loop_ns`` (processor time per control tick), ``real_time_factor``,
``over_bare_loop`` and ``over_numpy_loop``.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from typing import TYPE_CHECKING

# Before numpy is loaded: its threads would spin on the second core and slow the first one down.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

if TYPE_CHECKING:
    from gainwright_sim.benchmark.rig_speed import RigSpeed


def main() -> int:
    """Run the benchmark; 2 for wrong input."""
    from gainwright.errors import InputError

    parser = argparse.ArgumentParser(
        prog="python -m gainwright_sim.benchmark",
        description="Time the rig against real time, a bare C loop and a loop stepped with numpy.",
    )
    parser.add_argument(
        "--machine", default="kiln-shuttle",
        help="two masses, no brake: a shipped name or a file (default: %(default)s)",
    )  # fmt: skip
    parser.add_argument(
        "--repeats", type=_repeats, default=20, help="of one search (default: %(default)s)"
    )
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")
    options = parser.parse_args()
    try:
        speed = _measure(options.machine, options.repeats)
    except (InputError, ValueError) as error:
        print(f"gainwright: {error}", file=sys.stderr)
        return 2
    print(json.dumps(_figures(speed), indent=2) if options.json else _table(speed))
    return 0


def _repeats(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 10_000:
        raise argparse.ArgumentTypeError(f"found {text!r}, expected a whole number from 1 to 10000")
    return int(text)


def _measure(machine: str, repeats: int) -> RigSpeed:
    from gainwright.language.load import load_trial
    from gainwright.language.shipped import shipped_trial_path
    from gainwright_sim.benchmark.rig_speed import measure
    from gainwright_sim.machine import load_machine

    return measure(load_trial(shipped_trial_path()), load_machine(machine), repeats)


def _figures(speed: RigSpeed) -> dict[str, str | float]:
    return {
        "machine": speed.machine,
        "control_tick_s": speed.control_tick_s,
        "machine_time_s": speed.machine_time_s,
        "rig_ns": speed.rig_s * 1e9,
        "bare_loop_ns": speed.bare_s * 1e9,
        "numpy_loop_ns": speed.python_s * 1e9,
        "real_time_factor": speed.real_time_factor,
        "over_bare_loop": speed.over_bare,
        "over_numpy_loop": speed.over_numpy,
    }


def _table(speed: RigSpeed) -> str:
    from gainwright_sim.benchmark.rig_speed import BARE_GOAL, REAL_TIME_GOAL

    lines = [
        f"{speed.machine}: two masses, control tick {speed.control_tick_s * 1e6:g} us, one search "
        f"of {speed.machine_time_s:.1f} s machine time; processor time on one core",
        "",
        f"{'rig: exported detector and sequencer in the loop':50}{speed.rig_s * 1e9:10.1f} ns/tick",
        f"{'bare C loop: the same without both':50}{speed.bare_s * 1e9:10.1f} ns/tick",
        f"{'numpy: the same as the bare loop, in Python':50}{speed.python_s * 1e9:10.0f} ns/tick",
        "",
        f"{'rig, times real time':50}{speed.real_time_factor:10.0f}   goal: at least "
        f"{REAL_TIME_GOAL:.0f}",
        f"{'rig, times the bare loop':50}{speed.over_bare:10.2f}   goal: at most {BARE_GOAL:g}",
        f"{'rig, share of the numpy loop':50}{f'1/{1 / speed.over_numpy:.0f}':>10}",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
