"""Defects that are inserted on purpose: a checker that misses one is not believed."""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Defect:
    """One defect: a text of an exported file and what it is replaced by."""

    file: str
    sound: str
    broken: str
    what: str
    """What is wrong with it."""
    reached_by: str
    """The driver's function that runs into it."""
    shows_at: str = ""
    """Sound text of the place where it goes wrong, if that is not the inserted text itself."""
    shows_in: str = ""
    """File of that place, if it is another one."""
    breaks_range: bool = False
    """Whether it breaks a promised range and is no undefined behaviour by itself."""

    def applied(self, text: str) -> str:
        """Return the text with the defect; LookupError unless there is one place for it."""
        count = text.count(self.sound)
        if count != 1:
            raise LookupError(
                f"inserted defect ({self.what}): {self.file} has {count} times {self.sound!r}"
            )
        return text.replace(self.sound, self.broken)

    @property
    def place(self) -> str:
        """The file in which it goes wrong."""
        return self.shows_in or self.file

    def line(self, text: str) -> int:
        """Return the line where it goes wrong, from 1; the sound text of that file is given."""
        return text[: text.index(self.shows_at or self.sound)].count("\n") + 1


ROW_INDEX = Defect(
    "gw_sequencer.c",
    "            taken = next;",
    "            taken = next + GW_ROW_COUNT;",
    "index of the row taken lies beyond the table",
    "gw_check_specified_step",
    "sequencer->saturated = gw_trial_act(",
)
MASKED_INPUTS = Defect(
    "gw_trial.c",
    "return inputs[which];",
    "return inputs[which] & 0x7fff;",
    "inputs masked to 15 bits",
    "gw_check_specified_step",
)
ONE_INPUT = Defect(
    "gw_trial.c",
    "return inputs[which];",
    "return inputs[0];",
    "the first input read for every other",
    "gw_check_specified_step",
)
INITIAL_OUTPUTS = Defect(
    "gw_sequencer.c",
    "        gw_trial_outputs(sequencer->state,",
    "        gw_trial_outputs(GW_INITIAL_STATE,",
    "outputs of the initial state in every state",
    "gw_check_specified_step",
)
REFUSAL = Defect(
    "gw_sequencer.c",
    "    if (memory_is_sound(sequencer) == 0) {\n        gw_trial_rest_outputs",
    "    if (sequencer->state < 0) {\n        gw_trial_rest_outputs",
    "outputs of memory that is damaged",
    "gw_check_specified_refusal",
)
RESET = Defect(
    "gw_sequencer.c",
    "sequencer->saturated = 0U;\n    for",
    "for",
    "reset leaves the saturation of the last step",
    "gw_check_specified_reset",
)
PRODUCT = Defect(
    "gw_fixed.h",
    "return (int64_t)a * (int64_t)b;",
    "return (int64_t)(a * b);",
    "product computed in 32 bits",
    "gw_check_products",
)
SATURATION = Defect(
    "gw_detector_tick.h",
    "int32_t value = gw_saturate_signal(signal);",
    "int32_t value = signal;",
    "input of the filter not limited",
    "gw_check_filter",
    breaks_range=True,
)
OUTPUT = Defect(
    "gw_highpass.h",
    "return gw_saturate_signal(y);",
    "return y;",
    "output of the filter not limited",
    "gw_check_highpass",
    breaks_range=True,
)
SQUARE = Defect(
    "gw_detector_tick.h",
    "gw_square_i64(value)",
    "(int64_t)(value * value)",
    "square computed in 32 bits",
    "gw_check_block",
)
SHIFT = Defect(
    "gw_detector_tick.h",
    "return high >> (shift & 31U);",
    "return high >> shift;",
    "shift by more than the width",
    "gw_check_block",
)
STAGE_INDEX = Defect(
    "gw_axis_control.c",
    "stage[gw_sound_stage(gw_order_stage(axis->taken))]",
    "stage[gw_order_stage(axis->taken)]",
    "index of the stage not limited",
    "gw_check_control_tick",
    "stage_now(axis)->detector.steps_level",
)
HEADROOM = Defect(
    "gw_detector_tick.h",
    "(uint32_t)moved >> GW_DETECTOR_HEADROOM_BITS;",
    "(uint32_t)moved >> (GW_DETECTOR_HEADROOM_BITS - 1U);",
    "headroom shift one bit short",
    "gw_check_filter",
    breaks_range=True,
)
GROUP_INDEX = Defect(
    "gw_evidence.c",
    "if (groups < (uint32_t)GW_GROUPS) {",
    "if (groups <= (uint32_t)GW_GROUPS) {",
    "index one beyond the groups of the evidence",
    "gw_check_evidence_change",
    "place_of_group[groups]",
)
SHARE = Defect(
    "gw_evidence.c",
    "(part & (uint32_t)GW_LEVEL_MAX) * ",
    "part * ",
    "part of a share not limited",
    "gw_check_evidence_findings",
)
PULSE_INDEX = Defect(
    "gw_pulse.h",
    "(next < shape->ticks)",
    "(next <= shape->ticks)",
    "index one beyond the pulse",
    "gw_check_pulse_sample",
    "shape->shape[next]",
)
RUNG_INDEX = Defect(
    "gw_axis.c",
    "gw_stage_gain(sound, rung_of(sound, axis->outputs, number))",
    "gw_stage_gain(sound, gw_clamp_i32(axis->outputs[gw_trial_stages[number].rung_output],\n"
    "                                             0, INT32_MAX))",
    "index of the gain ladder not limited",
    "gw_check_gain",
    "(uint32_t)stage->rungs - 1U - (uint32_t)rung",
    shows_in="gw_machine.h",
)
HEIGHT_INDEX = Defect(
    "gw_axis.c",
    "gw_stage_pulse_height(stage, rung)",
    "gw_stage_pulse_height(stage, rung + 1)",
    "index of the pulse heights one too high",
    "gw_check_sequencer_tick",
    "ladder->step[k / 16U]",
    shows_in="gw_ladder.h",
)

STEP_DEFECTS = (ROW_INDEX, MASKED_INPUTS, ONE_INPUT, INITIAL_OUTPUTS, REFUSAL, RESET)
"""Seen by the model checker; the first is undefined behaviour, the others are other behaviour."""
AXIS_DEFECTS = (
    PRODUCT,
    SATURATION,
    OUTPUT,
    HEADROOM,
    SQUARE,
    SHIFT,
    STAGE_INDEX,
    GROUP_INDEX,
    SHARE,
    PULSE_INDEX,
    RUNG_INDEX,
    HEIGHT_INDEX,
)


def machine_defects(text: str) -> tuple[Defect, ...]:
    """Return the defects of an axis, with one in the tables of its machine; ``text`` has these.

    Raises:
        LookupError: the tables have no pulse.
    """
    found = re.search(r"\{pulse_shape_0, (\d+)\}", text)
    if found is None:
        raise LookupError("there is no pulse to insert a defect in")
    broken = f"{{pulse_shape_0, {int(found[1]) + 1}}}"
    what = "a pulse that is said to be longer than it is"
    longer = Defect("gw_machine.c", found[0], broken, what, "gw_check_pulse_sample")
    return (*AXIS_DEFECTS, longer)
