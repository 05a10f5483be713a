"""``gainwright listen``: the exported detector over a recorded signal."""

from __future__ import annotations

import argparse
import json
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gainwright.errors import InputError, Problem
from gainwright_cli.console import add_json_option, add_out_options, console, doing, print_json

if TYPE_CHECKING:
    from gainwright.detector.settings import DetectorSettings
    from gainwright.listening.listen import Listening, Words
    from gainwright.recording.recording import Recording

CAUTION = (
    "Hearing no onset in a recording is no proof of a stable axis, and the detector protects "
    "nobody: it is not a safety function. Local codes and licensed practice decide."
)
NOT_KNOWN = 3
"""Exit code where the recording gives no ground for a verdict."""
PICTURE = "listen.png"
FILES = f"""\
summary.json   what was heard, as --json prints it
levels.csv     detector levels at the end of each burst block, 256 = threshold
{PICTURE}     signals, band-passed signals, levels and the onset against time
"""

# Option, field of ChannelChoice, name of the value, help.
_CHANNELS = (
    ("--torque", "torque", "NAME", "torque command or current (needed)"),
    ("--speed-error", "speed_error", "NAME", "reference less actual speed"),
    ("--speed", "speed", "NAME", "actual speed: shows how the axis moves"),
    ("--speed-reference", "speed_reference", "NAME", "its reference (default: 0)"),
    ("--position", "position", "NAME", "position, differenced to a speed; in place of it"),
    ("--position-reference", "position_reference", "NAME", "its reference (default: 0)"),
    ("--time", "time", "NAME", "sample times (default: time_s, if the file has it)"),
)
_SCALES = (
    ("--torque-base", "torque_base", "VALUE", "torque that is one per unit (default: 1)"),
    ("--speed-base", "speed_base", "VALUE", "speed that is one per unit (default: 1)"),
    ("--time-unit", "time_unit_s", "SECONDS", "unit of the sample times (default: 1)"),
    ("--rate", "sample_rate_hz", "HZ", "sample rate, where there are no good sample times"),
)
# Option, field of ListenOptions, name of the value, help.
_BAND = (
    ("--band-from", "band_from_hz", "HZ", "listen from this frequency on"),
    ("--control-tick", "control_tick_s", "SECONDS", "control tick (default: one sample)"),
    ("--current-loop-s", "current_loop_s", "SECONDS", "current loop's time constant (default: 0)"),
    (
        "--speed-filter-s",
        "speed_filter_s",
        "SECONDS",
        "speed low-pass's time constant (default: 0)",
    ),
)
_THRESHOLDS = (
    ("--burst", "burst_per_unit", "PER_UNIT", "torque amplitude that is onset"),
    ("--silence", "silence_per_unit", "PER_UNIT", "speed-error amplitude that is silence"),
    ("--quiet-from", "quiet_from_s", "SECONDS", "start of a quiet part that you know (default: "
     "the recording's own is sought)"),
    ("--quiet-seconds", "quiet_seconds", "SECONDS", "length of a quiet part that you know"),
    ("--quiet-factor", "quiet_factor", "FACTOR", "threshold over the quiet part's strongest block "
     "(default: 2)"),
    ("--ringing-seconds", "ringing_seconds", "SECONDS", "unbroken ringing that is onset "
     "(default: 3)"),
)  # fmt: skip


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Run the exported detector over a recorded signal and say: onset, quiet, or not known, and "
        "why. The band follows from the drive's timing: below the frequency at which the drive's "
        "own lag reaches 90 degrees no speed loop oscillates. Thresholds are given, or found in a "
        "quiet part, in which the axis moves as usual; the recording's own is sought where none is "
        "stated. Without a given burst threshold, onset needs a line that grew. Quiet needs an "
        "axis that moves: name its speed or position. Exit code 3 where the verdict is not known."
    )
    parser.add_argument(
        "recording", metavar="RECORDING", help="CSV with a header row, .npz, or .mat up to 7.2"
    )
    channels = parser.add_argument_group("channels, by their names in the file")
    for option, field, value, text in _CHANNELS:
        channels.add_argument(
            option, dest=field, metavar=value, help=text, required=field == "torque"
        )
    _add_numbers(parser.add_argument_group("scaling and time"), _SCALES)
    band = parser.add_argument_group("band: the drive's timing, or directly")
    _add_numbers(band, _BAND)
    band.add_argument(
        "--delay-ticks",
        dest="delay_ticks",
        metavar="TICKS",
        type=int,
        help="whole ticks from reading the position to applying the torque (default: 1)",
    )
    _add_numbers(
        parser.add_argument_group("thresholds: given, or from the quiet part"), _THRESHOLDS
    )
    add_out_options(parser, "picture, levels and summary")
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    from gainwright.listening.listen import listen
    from gainwright.listening.summary import summary_keys
    from gainwright.result_folder import check_result_folder

    if arguments.out is not None:
        check_result_folder(arguments.out, force=arguments.force)
    recording, options = _read(arguments)
    with doing("compiling the exported detector, and listening"):
        listening = listen(recording, options, _run_compiled)
    keys = summary_keys(listening)
    if arguments.out is not None:
        with doing("drawing the picture"):
            _write(arguments, listening, keys)
    if arguments.json:
        print_json(keys)
    else:
        _print(listening, arguments)
    return NOT_KNOWN if keys["verdict"] == "not known" else 0


def _add_numbers(group: Any, table: tuple[tuple[str, str, str, str], ...]) -> None:
    for option, field, value, text in table:
        group.add_argument(option, dest=field, metavar=value, help=text, type=float)


def _read(arguments: argparse.Namespace) -> tuple[Recording, Any]:
    """Return recording and options; what is wrong with either is said in one error."""
    from gainwright.listening.options import ListenOptions, check_options
    from gainwright.recording.read import read_recording
    from gainwright.recording.recording import ChannelChoice

    problems: list[Problem] = []
    options = _filled(ListenOptions, arguments)
    recording = None
    try:
        check_options(options)
    except InputError as error:
        problems += error.problems
    try:
        recording = read_recording(arguments.recording, _filled(ChannelChoice, arguments))
    except InputError as error:
        problems += error.problems
    if problems or recording is None:
        raise InputError(problems)
    return recording, options


def _filled(kind: Any, arguments: argparse.Namespace) -> Any:
    """Return a dataclass filled with what was said; the rest keeps its default."""
    said = {name: getattr(arguments, name) for name in kind.__dataclass_fields__}
    return kind(**{name: value for name, value in said.items() if value is not None})


def _run_compiled(
    settings: DetectorSettings, torque_raw: Words, speed_error_raw: Words
) -> tuple[Words, Words]:
    from gainwright_codegen.host.detector import CompiledDetector

    return CompiledDetector(settings).run(torque_raw, speed_error_raw)


def _write(arguments: argparse.Namespace, listening: Listening, keys: dict[str, Any]) -> None:
    from gainwright.listening.summary import levels_csv
    from gainwright.result_folder import result_folder
    from gainwright_cli.views.listen_picture import save_listen_picture

    with result_folder(arguments.out, force=arguments.force) as folder:
        text = json.dumps(keys, indent=2, allow_nan=False) + "\n"
        (folder / "summary.json").write_text(text, encoding="utf-8")
        (folder / "levels.csv").write_text(levels_csv(listening), encoding="utf-8", newline="")
        save_listen_picture(folder / PICTURE, listening)
        (folder / "README.txt").write_text(f"{FILES}\n{CAUTION}\n", encoding="utf-8")


def _print(listening: Listening, arguments: argparse.Namespace) -> None:
    from gainwright.listening.summary import summary_text

    screen = console()
    screen.print(summary_text(listening), markup=False)
    screen.print()
    if arguments.out is None:
        screen.print("Next: the same with a picture:", markup=False)
        words = shlex.join(
            [*_options_given(arguments), "--out", f"listen-{Path(arguments.recording).stem}"]
        )
        screen.print(f"  {words}", markup=False)
    else:
        screen.print(f"Picture and levels: {Path(arguments.out) / PICTURE}", markup=False)
        screen.print("Next: the same detector in a whole trial, on a simulated axis:", markup=False)
        screen.print(
            "  gainwright rehearse kiln-shuttle --out rehearsal-kiln-shuttle", markup=False
        )
    screen.print()
    screen.print(CAUTION, style="dim", markup=False)


def _options_given(arguments: argparse.Namespace) -> list[str]:
    """Return the command that was given, for the user to continue."""
    words = ["gainwright", "listen", arguments.recording]
    tables = (*_CHANNELS, *_SCALES, *_BAND, ("--delay-ticks", "delay_ticks"), *_THRESHOLDS)
    for option, field, *_ in tables:
        value = getattr(arguments, field)
        if value is not None:
            words += [option, f"{value:.9g}" if isinstance(value, float) else str(value)]
    return words
