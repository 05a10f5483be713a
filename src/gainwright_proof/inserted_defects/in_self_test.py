"""Defects in what the lockstep does not show: the drive's watch, findings of many gains, guards.

The exported self-test, or the compiler, must notice them: it is what is run on the target.
"""

from __future__ import annotations

import subprocess
from functools import cache

from gainwright.errors import InputError
from gainwright_codegen.bundle.axis import axis_bundle
from gainwright_codegen.host import compile_program
from gainwright_proof.axis_binding.probe import probe_axis, probe_trial
from gainwright_proof.inserted_defects.defect import InsertedDefect
from gainwright_proof.inserted_defects.small import small_trial

_QUICK = ("-O0",)
"""It runs once: optimising takes longer."""


@cache
def _files() -> dict[str, bytes]:
    trial = small_trial()
    return dict(axis_bundle(probe_trial(trial), probe_axis(trial)).files)


def failed_lines(changed: dict[str, bytes]) -> tuple[str, ...]:
    """Return what the self-test of a folder with changed files says; empty if it passes."""
    try:
        program = compile_program({**_files(), **changed}, _QUICK, "selftest")
    except InputError:
        return ("compiler",)
    done = subprocess.run([program], capture_output=True, text=True, check=False)
    if done.returncode == 0:
        return ()
    return tuple(f"self-test, {line}" for line in done.stdout.splitlines() if "FAIL" in line)


def _text(name: str, kind: str, file: str, sound: str, broken: str) -> InsertedDefect:
    def judge() -> tuple[str, ...]:
        text = _files()[file].decode("ascii")
        if sound not in text:
            raise LookupError(f"{file} has no {sound!r}: adapt the inserted defect '{name}'")
        return failed_lines({file: text.replace(sound, broken, 1).encode("ascii")})

    return InsertedDefect(name, kind, file, judge)


_PLACES = (
    ("a position that stands without torque counts as frozen", "watch", "gw_watch.h",
     " || (now->torque_on == 0)", ""),
    ("a position that may stand counts as frozen", "watch", "gw_watch.h",
     "} else if (now->must_move != 0) {", "} else if (now->must_move >= 0) {"),
    ("strain is never forgotten", "watch", "gw_watch.h",
     "watch->strained_ticks -= 1;", "watch->strained_ticks -= 0;"),
    ("torque at its limit is no strain", "watch", "gw_watch.h",
     "((now->saturated != 0) || ", "("),
    ("a count that goes round", "watch", "gw_watch.h",
     "(ticks < GW_WATCH_TICKS_MAX) ? (ticks + 1) : GW_WATCH_TICKS_MAX",
     "(ticks < GW_WATCH_TICKS_MAX) ? (ticks + 1) : 0"),
    ("damaged memory is not noticed", "guard", "gw_axis.c",
     "&& (axis->checksum == checksum)", "&& (checksum == checksum)"),
    ("too few control ticks are not noticed", "guard", "gw_axis.c",
     "(counted < GW_RATE_FEWEST(control_ticks))", "(counted < 0)"),
    ("another machine under the axis is not noticed", "guard", "gw_axis.c",
     "if ((knows_machine == 0) || (axis_is_sound(axis) == 0)) {",
     "if ((knows_machine < 0) || (axis_is_sound(axis) == 0)) {"),
    ("a fault of the caller is forgotten", "guard", "gw_axis.c",
     "int32_t fault = axis->fault;", "int32_t fault = 0;"),
    ("noise called tripled at twice what is expected", "findings", "gw_evidence.c",
     "has_leapt(noise, noise_before, 6U)", "has_leapt(noise, noise_before, 4U)"),
    ("noise called grown a gain too early", "findings", "gw_evidence.c",
     "? 1 : GW_GROWN_GAINS;", "? 1 : (GW_GROWN_GAINS - 1);"),
    ("noise that went back stays counted as grown", "findings", "gw_evidence.c",
     "            grown = 0;\n", "            grown = before;\n"),
    ("answers called hidden a gain too late", "findings", "gw_evidence.c",
     "(hidden >= (uint8_t)GW_HIDDEN_GAINS)", "(hidden > (uint8_t)GW_HIDDEN_GAINS)"),
    ("files of two versions together", "version", "gw_fixed.h",
     "#define GW_RUNTIME_FINGERPRINT 0x", "#define GW_RUNTIME_FINGERPRINT 0x1"),
)  # fmt: skip

PLACES: tuple[tuple[str, str, str], ...] = tuple(
    (name, file, sound) for name, kind, file, sound, _ in _PLACES if kind != "version"
)
"""Name, file and sound text of each; the version is written into a bundle only."""
IN_SELF_TEST: tuple[InsertedDefect, ...] = tuple(_text(*entry) for entry in _PLACES)


def control() -> tuple[str, ...]:
    """Return what the self-test says of the sound folder: must be nothing."""
    return failed_lines({})
