"""Single changes of the exported C that its self-test must notice."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Mutant:
    file: str
    sound: str
    broken: str
    equivalent: str = ""
    """Why nobody can notice it; empty if it must be noticed."""
    lemma: str = ""
    """What a model checker proves of the exported C for that: a function of ``LEMMAS``."""


RUNTIME = (
    Mutant("gw_sequencer.c", "            taken = next;", "taken = end;"),
    Mutant("gw_sequencer.c", "hits++;", "hits += 2U;"),
    Mutant("gw_sequencer.c", "hits != 1U", "hits == 1U"),
    Mutant("gw_table.h", "((uint32_t)seen << 16U)", "0U"),
    Mutant("gw_table.h", "(~(uint32_t)seen & UINT32_C(0xFFFF))", "0U"),
    Mutant("gw_sequencer.c", "return (int32_t)taken[-1].number;",
           "return (int32_t)taken[-1].action;"),
    Mutant("gw_sequencer.c", "sequencer->state = GW_INITIAL_STATE;",
           "sequencer->state = GW_INITIAL_STATE + 1;"),
    Mutant("gw_sequencer.c", "gw_trial_initial_variables[index]", "0",
           equivalent="every initial value of the shipped trial is 0",
           lemma="lemma_initial_values"),
    Mutant("gw_axis.c", "axis->order.word = ordered(machine, axis->outputs);",
           "axis->order.word = 0x7F00U;"),
    Mutant("gw_axis.c", "((uint32_t)rung << 8)", "((uint32_t)(rung / 2) << 8)"),
    Mutant("gw_axis.c", "((uint32_t)hearing_of(outputs) & 255U) << 16", "(1U << 16)"),
    Mutant("gw_axis.c", "(outputs[GW_OUTPUT_PULSE_REQUEST] != 0) ? GW_ORDER_PULSE : 0U", "0U"),
    Mutant("gw_axis.c", "pulses = one_pulse_more(before);", ""),
    Mutant("gw_axis.c", "height = axis->order.height;", ""),
    Mutant("gw_axis.c", "(changed == GW_ORDER_PULSE) && ", ""),
    Mutant("gw_axis_control.c", "(((word ^ axis->taken) & GW_ORDER_PULSES) != 0U)", "(1)"),
    Mutant("gw_axis.c", "(wanted & ~before & GW_ORDER_PULSE)",
           "(wanted & GW_ORDER_PULSE)",
           equivalent="in the shipped trial a request of a pulse lasts one tick",
           lemma="lemma_pulse_request"),
    Mutant("gw_axis.c", "gw_stage_pulse_height(stage, rung)", "gw_stage_pulse_height(stage, 0)"),
    Mutant("gw_axis.c", "(height > (most >> doublings))", "(height < (most >> doublings))"),
    Mutant("gw_axis.c", "highest + (highest / 2U)", "highest / 64U"),
    Mutant("gw_axis_control.c", "gw_detector_restart_blocks(&axis->detector);", ""),
    Mutant("gw_axis_control.c", "gw_evidence_end_hearing(evidence);", ""),
    Mutant("gw_axis_control.c",
           "gw_evidence_end_listening(evidence, gw_order_hearing(axis->taken));", ""),
    Mutant("gw_axis_control.c",
           "gw_evidence_begin_hearing(evidence, gw_order_hearing(axis->taken));", ""),
    Mutant("gw_axis_control.c", "gw_evidence_end_gain(evidence,",
           "if (0) gw_evidence_end_gain(evidence,"),
    Mutant("gw_axis_control.c", "gw_evidence_compare_gain(evidence,",
           "if (0) gw_evidence_compare_gain(evidence,"),
    Mutant("gw_axis_control.c", "stage_now(axis)->detector.swing_level", "GW_LEVEL_MAX"),
    Mutant("gw_evidence.c", "(evidence->ring_noise <= swing_level)", "1"),
    Mutant("gw_axis_control.c", "gw_evidence_begin_gain(evidence);", ""),
    Mutant("gw_axis_control.c", "gw_pulse_start(&axis->pulse, axis->order.height,",
           "gw_pulse_start(&axis->pulse, axis->order.height / 2,"),
    Mutant("gw_axis_control.c", "if (ended == GW_RING_BLOCK_ENDED)", "if (0)"),
    Mutant("gw_axis_control.c", "if (ended != GW_BURST_BLOCK_ENDED)", "if (0)"),
    Mutant("gw_axis_control.c", "if (ended != 0)", "if (ended == GW_RING_BLOCK_ENDED)"),
    Mutant("gw_axis_control.c", "} else if (due != 0U) {", "} else if (due > 64U) {"),
    Mutant("gw_axis_control.c", "(word != axis->taken) && (due == 0U)", "(word != axis->taken)"),
    Mutant("gw_axis_control.c",
           "(gw_detector_block_ends(&axis->detector, &stage->detector) == 0)", "(1)"),
    Mutant("gw_axis_control.c", "(gw_code_now(&axis->fault) == 0) ?", "(1) ?"),
    Mutant("gw_axis_control.c", "(uint16_t)(axis->control_ticks + 1U)",
           "(uint16_t)(axis->control_ticks + 2U)"),
    Mutant("gw_axis.c", "axis->rate_ticks = -1;", "axis->rate_ticks = 0;"),
    Mutant("gw_axis.c", "(counted <= GW_RATE_MOST(control_ticks)) ? 1 : 0", "1"),
    Mutant("gw_axis.c", "(counted < GW_RATE_FEWEST(control_ticks))", "(counted < 0)"),
    Mutant("gw_axis.c", "(axis->checksum == checksum)", "(1)"),
    Mutant("gw_axis.c", "((uint32_t)axis->sequencer.state < (uint32_t)GW_STATE_COUNT)", "(1)"),
    Mutant("gw_axis.c", "sum = gw_checksum_with(sum, axis->order.word);", ""),
    Mutant("gw_axis.c", "return ~gw_checksum_with(sum, rate_and_fault(axis));", "return ~sum;"),
    Mutant("gw_trial.h", "    sum = gw_checksum_with(sum, (uint32_t)(uint16_t)"
           "variables[GW_VARIABLE_GAIN_RUNG]\n        | "
           "((uint32_t)(uint16_t)variables[GW_VARIABLE_LIMIT_RUNG] << 16U));", ""),
    Mutant("gw_axis.c", "(pulse >= 0)", "(1)"),
    Mutant("gw_axis.c", "fault = GW_BAD_RATE;", "fault = GW_BAD_MEMORY;"),
    Mutant("gw_axis.c", "(fault == 0) && (rate_is_right", "(rate_is_right"),
    Mutant("gw_axis.c", "gw_write_code(&axis->fault, row);", ""),
    Mutant("gw_axis.c", "gw_trial_fault_outputs(axis->outputs);", ""),
    Mutant("gw_axis.c", "if (order_is_taken(axis) != 0) {\n        const uint8_t blocks",
           "if (1) {\n        const uint8_t blocks"),
    Mutant("gw_axis_parts.h", "(axis->machine_again == ~(uintptr_t)axis->machine)",
           "(axis->machine != 0)"),
    Mutant("gw_axis.c", "gw_stage_gain(sound, rung_of(sound, axis->outputs, number))",
           "gw_stage_gain(sound, 0)"),
    Mutant("gw_pulse.h", "pulse->next = next + 1;", "pulse->next = next + 2;"),
    Mutant("gw_pulse.h", "(next < shape->ticks)", "(next <= shape->ticks - 2)"),
    Mutant("gw_pulse.h", "pulse->next = GW_PULSE_DAMAGED;", ""),
    Mutant("gw_pulse.h", "(uint64_t)raised >> 15U", "(uint64_t)raised >> 14U"),
    Mutant("gw_pulse.h", "INT64_C(16384)", "INT64_C(8192)"),
    Mutant("gw_detector_tick.h", "ticks >= (uint32_t)settings", "ticks > (uint32_t)settings"),
    Mutant("gw_detector_tick.h", "GW_DETECTOR_HEADROOM_BITS 4U", "GW_DETECTOR_HEADROOM_BITS 5U"),
    Mutant("gw_detector_tick.h", "GW_LEVEL_SCALE_BITS 24U", "GW_LEVEL_SCALE_BITS 23U"),
    Mutant("gw_detector_tick.h", "int32_t value = gw_saturate_signal(signal);",
           "int32_t value = signal;"),
    Mutant("gw_highpass.h", "return gw_saturate_signal(y);", "return y;"),
    Mutant("gw_highpass.h", "= *fraction + gw_product", "= gw_product"),
    Mutant("gw_highpass.h", "(2 * (int64_t)past->last)", "(int64_t)past->last"),
    Mutant("gw_evidence.c", "silence : (uint32_t)GW_SILENCE_LEAST", "silence : 17U"),
    Mutant("gw_evidence.c", "evidence->response = larger(evidence->response, level);",
           "evidence->response = level;"),
    Mutant("gw_evidence.c", "evidence->burst = burst;", ""),
    Mutant("gw_evidence.c", "evidence->silence = silence_above", "(void)silence_above"),
    Mutant("gw_evidence.c", "mean_of(group[1], group[2])", "mean_of(group[0], group[2])"),
    Mutant("gw_evidence.c", "if (evidence->groups == 6U) {", "if (evidence->groups == 7U) {"),
    Mutant("gw_evidence.c", "        compare_groups(evidence, last);", ""),
    Mutant("gw_evidence.c", "    evidence->later = evidence->later_before;", ""),
    Mutant("gw_evidence.c", "const uint32_t most = noise / 2U;", "const uint32_t most = noise;"),
    Mutant("gw_evidence.c", "spread + (spread / 2U)", "spread"),
    Mutant("gw_evidence.c", "evidence->ring_noise / GW_GROWN_TIMES", "evidence->ring_noise / 8"),
    Mutant("gw_evidence.c", "evidence->grown = (int8_t)smaller(evidence->grown, 0);", ""),
    Mutant("gw_evidence.c", "larger(usual, smaller(most, follows))", "larger(usual, most)"),
    Mutant("gw_evidence.c", "smaller(before, INT8_MAX - 1) + 1",
           "smaller(before, INT8_MAX - 1) + 2"),
    Mutant("gw_evidence.c", "share((uint32_t)evidence->last, silence)",
           "share((uint32_t)evidence->response, silence)"),
    Mutant("gw_axis.c", "(counted <= GW_RATE_MOST", "(counted < GW_RATE_MOST"),
    Mutant("gw_axis.c", "(counted < GW_RATE_FEWEST", "(counted <= GW_RATE_FEWEST"),
    Mutant("gw_axis.c", "(ticks >= GW_RATE_BLOCK)", "(ticks > GW_RATE_BLOCK)"),
    Mutant("gw_axis.c", "(height << doublings)", "(height >> doublings)"),
    Mutant("gw_sequencer.c", "gw_trial_rest_outputs(outputs);", ""),
    Mutant("gw_table.h", "((seen & GW_SPLIT_BITS) != 0U) ? 1U : 0U", "0U"),
    Mutant("gw_evidence.c", "gw_put(inputs, GW_PLACE_OF_NOISE_GROWN, 0);", ""),
    Mutant("gw_evidence.c", "    evidence->staying = 0U;\n", ""),
    Mutant("gw_evidence.c", "    if (evidence->lasted != 0U) {", "    if (0) {"),
    Mutant("gw_evidence.c", "        evidence->stalled = 1U;", ""),
    Mutant("gw_evidence.c", "           >= GW_STALLS_ENOUGH)", "           > GW_STALLS_ENOUGH)"),
    Mutant("gw_evidence.c", "(GW_STALLS_ENOUGH - GW_STALLS_HIDDEN)", "0U"),
    Mutant("gw_evidence.c", "(before > 0U) && (evidence->hidden == 0U)", "(before > 0U)"),
    Mutant("gw_evidence.c", "(evidence->hidden > 0U) && (evidence->noise", "(evidence->noise"),
    Mutant("gw_evidence.c", "stalls = before + GW_LEAP_COUNTS;",
           "stalls = before + GW_STALL_COUNTS;"),
    Mutant("gw_evidence.c", "(hidden < (uint8_t)GW_VANISHED", "(hidden <= (uint8_t)GW_VANISHED"),
    Mutant("gw_evidence.c", "(evidence->hidden >= (uint8_t)GW_GROWN",
           "(evidence->hidden > (uint8_t)GW_GROWN"),
    Mutant("gw_evidence.c", "(uint32_t)GW_RESPONSE_SEEN * silence", "silence"),
    Mutant("gw_detector.c", "    band->level = 0;\n", ""),
    Mutant("gw_detector_tick.h", "(ring >= (uint32_t)settings->ring", "(ring > (uint32_t)settings"
           "->ring"),
)  # fmt: skip


LEMMAS = """\
#include "check_step.h"
#include "gw_any.h"
#include "gw_table.h"

void lemma_initial_values(void)
{
    int32_t k;

    for (k = 0; k < GW_VARIABLE_SLOTS; k++) {
        gw_check(gw_trial_initial_variables[k] == 0);
    }
}

/* From any sound memory that asks for a pulse, with any inputs, a step gives one that does not. */
void lemma_pulse_request(void)
{
    gw_sequencer sequencer;
    int32_t inputs[GW_INPUT_SLOTS];
    int32_t outputs[GW_OUTPUT_SLOTS];
    int32_t k;

    any_sound_memory(&sequencer);
    for (k = 0; k < GW_INPUT_SLOTS; k++) {
        inputs[k] = gw_any_int32(INT32_MIN, INT32_MAX);
    }
    gw_sequencer_outputs(&sequencer, outputs);
    if (outputs[GW_OUTPUT_PULSE_REQUEST] == 0) {
        return;
    }
    if (gw_sequencer_step(&sequencer, inputs) >= 0) {
        gw_sequencer_outputs(&sequencer, outputs);
        gw_check(outputs[GW_OUTPUT_PULSE_REQUEST] == 0);
    }
}
"""


def constants_raised(text: str) -> Iterator[tuple[str, str]]:
    """Yield for each number of ``gw_trial.c`` or ``gw_trial.h`` its line, and the text in which it
    is one more."""
    end = text.find("#ifdef GW_WITH_NAMES\ngw_condition_set")
    for found in re.finditer(r"INT32_C\((\d+)\)", text[: end if end >= 0 else len(text)]):
        line = text[text.rfind("\n", 0, found.start()) + 1 : text.find("\n", found.end())]
        raised = f"INT32_C({int(found[1]) + 1})"
        yield line.strip(), text[: found.start()] + raised + text[found.end() :]
