"""Defects in the C that firmware would compile: the explorer or the lockstep must refute it."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from gainwright.language.load import trial_from_document
from gainwright_codegen.bundle.stamp import proved_sources
from gainwright_proof.axis_binding.check import check_axis
from gainwright_proof.exploration import explore
from gainwright_proof.inserted_defects.defect import InsertedDefect, left_open
from gainwright_proof.inserted_defects.small import small_document, small_trial


@cache
def _sound():  # type: ignore[no-untyped-def]
    return explore(small_trial())


def noticed_in(exported: dict[str, bytes], axis: bool = False) -> tuple[str, ...]:
    """Return what the explorer, or with ``axis`` the lockstep, finds in C."""
    if axis:
        return left_open(check_axis(small_trial(), exported, _sound().runs_to_rows))
    return left_open(explore(small_trial(), exported=exported).findings)


def _text(name: str, kind: str, file: str, sound: str, broken: str) -> InsertedDefect:
    def judge() -> tuple[str, ...]:
        sources = proved_sources(small_trial())
        text = sources[file].decode("ascii")
        if sound not in text:
            raise LookupError(f"{file} has no {sound!r}: adapt the inserted defect '{name}'")
        changed = text.replace(sound, broken, 1)
        return noticed_in({**sources, file: changed.encode("ascii")}, axis=kind == "axis")

    return InsertedDefect(name, kind, file, judge)


_GIVEN = "return inputs[which];"
_LEVEL = "input(inputs, GW_INPUT_BURST_LEVEL)"
_SEES = f"({_LEVEL} >= GW_CONSTANT_BURST_THRESHOLD)"
_STEP = (
    ("the first input read for every other", "shipped step", "gw_trial.c",
     _GIVEN, "return inputs[0];"),
    ("every input limited to 0 and 1", "shipped step", "gw_trial.c",
     _GIVEN, "return (inputs[which] > 0) ? 1 : 0;"),
    ("a state that does not look at one of its conditions", "shipped step", "gw_trial.c",
     "seen |= (condition_at_target(inputs, variables) != 0) ? BIT_AT_TARGET : 0U;", ""),
    ("two conditions of a state at one bit", "shipped step", "gw_trial.c",
     "#define BIT_AT_TOP_RUNG ", "#define BIT_AT_TOP_RUNG (TWICE / 2U)\n#define TWICE "),
    ("rest outputs in every state but the initial one", "shipped step", "gw_sequencer.c",
     "    if (memory_is_sound(sequencer) == 0) {\n        gw_trial_rest",
     "    if (sequencer->state != GW_INITIAL_STATE) {\n        gw_trial_rest"),
    ("greatest value of a variable taken for damage", "shipped step", "gw_trial.c",
     "(uint32_t)variables[GW_VARIABLE_GAIN_RUNG] >> 5U",
     "gw_outside_i32(variables[GW_VARIABLE_GAIN_RUNG], 0, 30)"),
    ("calls counted in a place of their own, and another step after many", "shipped step",
     "gw_sequencer.c", "    return (memory_is_sound(sequencer) == 0) ? GW_BAD_MEMORY",
     "    static uint32_t calls;\n\n    calls++;\n"
     "    return ((memory_is_sound(sequencer) == 0) || (calls > UINT32_C(3000000000)))"
     " ? GW_BAD_MEMORY"),
    ("reset to the state after the initial one", "first moment", "gw_sequencer.c",
     "sequencer->state = GW_INITIAL_STATE;", "sequencer->state = GW_INITIAL_STATE + 1;"),
    ("an input masked with 0x7fff", "input values", "gw_trial.c", _GIVEN,
     _GIVEN.replace("which]", "which] & 0x7fff")),
    ("an input cut to 16 bits", "input values", "gw_trial.c", _GIVEN,
     _GIVEN.replace("inputs", "(int16_t)inputs")),
    ("an input without its sign", "input values", "gw_trial.c",
     _GIVEN, _GIVEN.replace("which]", "which] & INT32_MAX")),
    ("a condition sees 15 bits of a level", "input values", "gw_trial.c", _SEES,
     _SEES.replace(_LEVEL, f"({_LEVEL} & 0x7fff)")),
    ("a condition is false at one value far from its threshold", "input values", "gw_trial.c",
     _SEES, f"({_SEES} && ({_LEVEL} != INT32_C(32768)))"),
    ("a threshold one too high", "input values", "gw_trial.c", _SEES,
     _SEES.replace("THRESHOLD", "THRESHOLD + 1")),
)  # fmt: skip
_AXIS = (
    ("burst input from the ring level", "gw_evidence.c",
     "const uint16_t burst = evidence->burst;",
     "const uint16_t burst = (uint16_t)evidence->last;"),
    ("ring input from the burst level", "gw_evidence.c",
     "share((uint32_t)evidence->last, silence)", "share((uint32_t)evidence->burst, silence)"),
    ("answer of the last block instead of the largest", "gw_evidence.c",
     "evidence->response = larger(evidence->response, level);", "evidence->response = level;"),
    ("silence without regard to the noise", "gw_evidence.c",
     "return (int32_t)silence;",
     "(void)silence; return larger((int32_t)noise, GW_LEVEL_ONE);"),
    ("noise of the gain before counts for this one", "gw_evidence.c",
     "    forget_noise(evidence);\n    forget_ringing(evidence);\n}\n\nvoid gw_evidence_reset",
     "    forget_ringing(evidence);\n}\n\nvoid gw_evidence_reset"),
    ("two findings exchanged", "gw_evidence.c",
     "noise_blocks = evidence->noise_blocks;", "noise_blocks = evidence->ring_blocks;"),
    ("a finding that no input gets", "gw_trial.h",
     "#define GW_PLACE_OF_NOISE_BLOCKS ((int32_t)GW_INPUT_NOISE_BLOCKS)",
     "#define GW_PLACE_OF_NOISE_BLOCKS INT32_C(-1)"),
    ("findings left to the drive", "gw_axis.c",
     "        gw_evidence_findings(evidence, inputs);\n        if", "        if"),
    ("pulse on the falling edge of the request", "gw_axis.c",
     "(wanted & ~before & GW_ORDER_PULSE)",
     "(~wanted & before & GW_ORDER_PULSE)"),
    ("pulse with the height of the lowest rung", "gw_axis.c",
     "gw_stage_pulse_height(stage, rung)", "gw_stage_pulse_height(stage, 0)"),
    ("an input of the drive changed", "gw_axis.c",
     "    find_response(axis, inputs);", "    find_response(axis, inputs); inputs[0] = 0;"),
    ("gain of the rung above", "gw_axis.c",
     "gw_stage_gain(sound, rung_of(sound, axis->outputs, number))",
     "gw_stage_gain(sound, rung_of(sound, axis->outputs, number) + 1)"),
    ("pulse played with the other sign", "gw_pulse.h",
     "torque = gw_pulse_torque", "torque = -gw_pulse_torque"),
    ("pulse one sample late", "gw_pulse.h",
     "pulse->next = 0;\n    pulse->height = height;",
     "pulse->next = 1;\n    pulse->height = height;"),
    ("energy of a block kept for the next", "gw_detector_tick.h",
     "        band->energy = 0;\n", "        band->energy /= 2;\n"),
)  # fmt: skip


def _other_trial(name: str, kind: str, change) -> InsertedDefect:  # type: ignore[no-untyped-def]
    """Return the defect of an exporter that writes the C of a trial changed in one place."""

    def judge() -> tuple[str, ...]:
        document = small_document()
        change(document)
        # All else is the same for every trial.
        return noticed_in(dict(proved_sources(trial_from_document(document, "changed"))))

    return InsertedDefect(name, kind, "trial_c", judge)


def _row(document, name):  # type: ignore[no-untyped-def]
    return next(row for row in document["rows"] if row["id"] == name)


def _target_at_the_edge(document):  # type: ignore[no-untyped-def]
    document["constants"]["upper_end_position"]["value"] += 1


def _wait_not_reset(document):  # type: ignore[no-untyped-def]
    _row(document, "brake_is_open")["actions"]["wait"] = "wait"


def _gain_by_two(document):  # type: ignore[no-untyped-def]
    _row(document, "raise_gain")["actions"]["gain_rung"] = "gain_rung + 2"


def _other_target(document):  # type: ignore[no-untyped-def]
    _row(document, "stop_before_brake")["to"] = "fault"


def _released_at_first(document):  # type: ignore[no-untyped-def]
    document["variables"]["request_released"]["initial"] = True


IN_EXPORTED_C: tuple[InsertedDefect, ...] = (
    *(_text(*entry) for entry in _STEP),
    *(_text(name, "axis", *rest) for name, *rest in _AXIS),
    _other_trial("exporter moves an end by one", "exporter", _target_at_the_edge),
    _other_trial("exporter forgets that a time begins at zero", "exporter", _wait_not_reset),
    _other_trial("exporter raises the gain by two", "exporter", _gain_by_two),
    _other_trial("exporter writes another next state", "exporter", _other_target),
    _other_trial("exporter writes another first value", "first moment", _released_at_first),
)


PLACES: tuple[tuple[str, str, str], ...] = (
    *((name, file, sound) for name, _, file, sound, _ in _STEP),
    *((name, file, sound) for name, file, sound, _ in _AXIS),
)
"""Name, file and sound text of the defects that replace a text."""


def control() -> Iterable[str]:
    """Return what is left open without any defect: must be nothing."""
    sources = proved_sources(small_trial())
    return (*noticed_in(sources), *noticed_in(sources, axis=True))
