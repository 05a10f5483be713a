"""The read-me of a bundle: an integration guide for the firmware engineer."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Iterable

from gainwright.language.model import Kind, Signal, Trial
from gainwright_codegen.axis_c.layout import MachineTables
from gainwright_codegen.c_text import CAUTION, identity, plain
from gainwright_codegen.trial_c.header import are_narrow

_WIDTH = 96


def readme(
    trial: Trial,
    machine: MachineTables | None,
    file_names: Collection[str],
    rows_tested: Collection[str],
) -> str:
    """Return the text of ``README.txt``.

    Args:
        trial: the exported trial.
        machine: its machine, None if only the sequencer is exported.
        file_names: all other files of the bundle.
        rows_tested: ids of the rows that the self-test takes.
    """
    sections = [
        _opening(trial, machine),
        _section("Cautions", _paragraphs(CAUTION, _FURTHER_CAUTIONS)),
        _section("Compile and test first", _compile(file_names) + _tested(trial, rows_tested)),
        _section("Which function at which rate", _rates(trial, machine)),
        _section("Memory", _memory(trial, machine)),
        _section("Inputs (enum gw_input)", _signals(trial.inputs)),
        _section("Outputs (enum gw_output)", _signals(trial.outputs)),
    ]
    if machine is not None:
        sections.append(_section(f"The machine ({machine.object}.h)", _tables(machine)))
    return "\n\n".join(sections) + "\n"


_FURTHER_CAUTIONS = (
    "The outputs ask, the drive decides: keep its own interlocks, limits and monitoring in force. "
    "Torque may be given only while torque_request is 1 and the drive's own conditions allow it. "
    "If a step returns a negative number, withdraw torque by your own means and do not go on. Try "
    "the first trial with low torque and speed limits, and with a hand on the emergency stop."
)


def _section(title: str, body: str) -> str:
    return f"{title}\n{'-' * len(title)}\n{body}"


def _paragraphs(*texts: str) -> str:
    return "\n\n".join(textwrap.fill(plain(text), _WIDTH) for text in texts)


def _opening(trial: Trial, machine: MachineTables | None) -> str:
    title = f"Trial '{plain(trial.name)}' as C99 source"
    lines = [title, "=" * len(title), _paragraphs(trial.title), ""]
    if trial.rehearsals_only:
        lines += [
            _paragraphs(f"FOR REHEARSALS ONLY, not for a machine: {trial.rehearsals_only}"), ""
        ]  # fmt: skip
    lines.append(identity("Trial", trial.name, trial.digest))
    if machine is not None:
        lines += ["", _paragraphs(machine.title), ""]
        lines.append(identity("Machine", machine.name, machine.digest))
    lines += ["", "Every file is listed in SHA256SUMS (check with: sha256sum -c SHA256SUMS)."]
    return "\n".join(lines)


def _compile(file_names: Collection[str]) -> str:
    units = sorted(name for name in file_names if name.endswith(".c"))
    command = textwrap.fill(
        f"cc -std=c99 -pedantic -Wall -Wextra -Wconversion -O2 -o gw_selftest {' '.join(units)}",
        _WIDTH - 2, initial_indent="    ", subsequent_indent="        ",
    ).replace("\n", " \\\n")  # fmt: skip
    return (
        f"{command}\n    ./gw_selftest\n\n"
        + _paragraphs(
            "The self-test must end with PASS (exit code 0), also on your target: it compares the "
            "code with checksums that the Python reference computed. gw_selftest.c is for testing "
            "only; leave it out of the firmware. The code calls no library (a compiler may call "
            "memcpy on its own), and has no dynamic memory, no floating point and no recursion."
        )
        + "\n\n"
    )


def _tested(trial: Trial, rows_tested: Collection[str]) -> str:
    missing = [row.id for row in trial.rows if row.id not in rows_tested]
    text = f"Its vectors take {len(trial.rows) - len(missing)} of the {len(trial.rows)} rows."
    if missing:
        text += f" Not taken: {', '.join(missing)}."
    return _paragraphs(text)


def _rates(trial: Trial, machine: MachineTables | None) -> str:
    tick = f"{trial.tick_us} us"
    if machine is None:
        return _paragraphs(
            f"gw_sequencer_reset once. Every {tick}: fill the inputs, call gw_sequencer_step, then "
            "gw_sequencer_outputs, and act on the outputs. The step returns the position of the "
            "row taken, or a negative code of gw_sequencer.h."
        )
    return _paragraphs(
        f"gw_axis_init(&axis, &{machine.object}) once for each axis.",
        f"Every control tick ({machine.control_tick_us:g} us), gw_axis_control_tick with the "
        "torque command before the test pulse and the speed error (reference minus speed), both "
        "Q4.24: 2^24 is the rated torque "
        f"({machine.rated_torque_nm:g} Nm), and the top speed ({machine.top_speed_rad_per_s:g} "
        "rad/s on the motor shaft). Add what it returns to the torque command. What a tick "
        "costs, and at worst, stands in GUIDE.md.",
        f"Every sequencer tick ({tick}), gw_axis_sequencer_tick with the inputs below; then act "
        "on axis.outputs. The detector's own inputs need no value. It returns the position of the "
        "row taken, or a negative code.",
        _tolerance(machine),
        "gw_axis_gain gives the gain of a stage that applies now, with the gain_fraction_bits of "
        "that stage.",
        "Both from the same context, or the control tick from a context of higher priority that "
        "may interrupt the sequencer tick; never the other way round. Each axis has its own "
        "gw_axis; nothing else is written.",
        "When a speed-loop gain changes, carry the controller's integral part over without a jump: "
        "with u = Kp (e + I), multiply I by old Kp / new Kp. A vertical axis would sag otherwise.",
        "An axis with friction must move at the start gain. Keep a slow integral part on during "
        "the trial, and compensate the friction that you measure on the way: while the reference "
        "is at rest or at constant speed and the axis really moves, take the mean torque of the "
        "speed controller; half the difference between the two directions is friction, half their "
        "sum is weight. From the next move on add friction, times the sign of the speed reference "
        "(in proportion below a fifth of cruise speed), to the torque command that "
        "gw_axis_control_tick sees, and lead the integral part to the weight as the move sets in. "
        "Neither changes a closed loop.",
    )


def _tolerance(machine: MachineTables) -> str:
    ticks = machine.constants[0].value
    block = [8 * ticks * quarters // 4 for quarters in (3, 4, 5)]
    return (
        f"A sequencer tick has {ticks} control ticks. Counted from the first sequencer tick after "
        f"a reset, every 8 sequencer ticks must see {block[1]} of them, {block[0]} at least and "
        f"{block[2]} at most: single late ticks do no harm, and what runs before the first "
        "sequencer tick does not count. A tick that is not called, or at another rate, a changed "
        "bit in the memory of the axis, an axis never reset and a table that does not decide: "
        "each gives a negative code and latches. Whatever you do with the code, the outputs then "
        "ask for nothing but show the fault, no test pulse is played and the start gain applies, "
        "until gw_axis_init."
    )


def _memory(trial: Trial, machine: MachineTables | None) -> str:
    text = (
        f"RAM for each axis: gw_sequencer takes {sequencer_bytes(trial)} bytes on a 32-bit target"
        + ("; gw_axis adds detector, pulse and outputs." if machine else ".")
        + " All tables are const."
    )
    return _paragraphs(text)


def sequencer_bytes(trial: Trial) -> int:
    """Return the size of ``gw_sequencer``: state, set of variables, variables, and its padding."""
    word = 4 if len(trial.variables) <= 32 else 8
    variable = 2 if are_narrow(trial.variables) else 4
    size = 2 * word + variable * max(1, len(trial.variables))
    return -(-size // word) * word


def _signals(signals: Iterable[Signal]) -> str:
    return "\n".join(
        textwrap.fill(
            f"{signal.name} ({_range(signal)}): {plain(signal.meaning)}",
            _WIDTH, initial_indent="  ", subsequent_indent="      ",
        )
        for signal in signals
    )  # fmt: skip


def _range(signal: Signal) -> str:
    if signal.kind is Kind.BOOLEAN:
        return "0 or 1"
    if signal.enumeration:
        return f"GW_{signal.enumeration.upper()}_..., 0 to {signal.high}"
    return f"{signal.low} to {signal.high}" + (f", {plain(signal.unit)}" if signal.unit else "")


def _tables(machine: MachineTables) -> str:
    items = [(item.name, item.comment) for item in machine.constants]
    items += [(table.name, table.comment) for table in machine.tables if not table.private]
    return "\n".join(
        textwrap.fill(
            f"{name}: {plain(text)}", _WIDTH, initial_indent="  ", subsequent_indent="      "
        )
        for name, text in items
    )
