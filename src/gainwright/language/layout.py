"""The shape of a trial file: tables, keys and their types, once, for the loader and the schema."""

from __future__ import annotations

from collections.abc import Mapping

from gainwright.described.shape import choice
from gainwright.described.table import Key, Layout
from gainwright.language.shapes import Shape

_MEANING = Key(Shape.TEXT, "one sentence that says what it is")
_UNIT = Key(Shape.TEXT, "unit, in words", required=False)
_KIND = Key(choice("boolean", "integer"), "type")
_KIND_KEPT = Key(choice("boolean", "integer", "enumeration"), "type")
_OF = Key(Shape.NAME, "the enumeration that names the values", required=False)
_RANGE = Key(Shape.RANGE, "smallest and largest value, integers only", required=False)

TRIAL: Layout = {
    "name": Key(Shape.NAME, "short name of the trial"),
    "title": Key(Shape.TEXT, "what the trial does, in one line"),
    "tick_us": Key(Shape.WHOLE, "time between two sequencer steps, microseconds"),
    "initial_state": Key(Shape.NAME, "state after power-on"),
    "rehearsals_only": Key(
        Shape.TEXT,
        "why the trial is for rehearsals only, one sentence; left out: nothing is said against it",
        required=False,
    ),
}
CONSTANT: Layout = {
    "value": Key(Shape.WHOLE, "its value; may use constants above it"),
    "unit": _UNIT,
    "meaning": _MEANING,
}
INPUT: Layout = {"kind": _KIND, "range": _RANGE, "unit": _UNIT, "meaning": _MEANING}
KEPT: Layout = {**INPUT, "kind": _KIND_KEPT, "of": _OF}
ENUMERATION_VALUE: Layout = {
    "words": Key(Shape.TEXT, "what the value means, in a few words"),
    "remedy": Key(Shape.TEXT, "what to do about it, one sentence", required=False),
}
VARIABLE: Layout = {
    **KEPT,
    "initial": Key(Shape.FORMULA, "value after power-on"),
}
OUTPUT: Layout = {
    **KEPT,
    "default": Key(Shape.FORMULA, "value in every state that does not say another"),
}
CONDITION: Layout = {
    "holds": Key(Shape.FORMULA, "when it is true, over inputs, variables and conditions above it"),
    "meaning": _MEANING,
}
STATE: Layout = {
    "meaning": _MEANING,
    "end": Key(Shape.BOOLEAN, "true if the trial may rest here for ever", required=False),
    "outputs": Key(
        Shape.FORMULAS, "outputs that differ from their default, over variables", required=False
    ),
}
ROW: Layout = {
    "id": Key(Shape.NAME, "name of the row, used in every report"),
    "from": Key(Shape.STATES, "state or states that the row belongs to"),
    "when": Key(Shape.NAMES, "conditions that must be true", required=False),
    "unless": Key(Shape.NAMES, "conditions that must be false", required=False),
    "to": Key(Shape.NAME, "next state; left out: the state stays", required=False),
    "actions": Key(
        Shape.FORMULAS, "new values of variables, over inputs and old variables", required=False
    ),
    "why": Key(Shape.TEXT, "one sentence that says why"),
}
HAZARD: Layout = {"consequence": Key(Shape.TEXT, "what may happen: who or what is harmed, and how")}
REQUIREMENT: Layout = {
    "hazard": Key(Shape.NAME, "the hazard it answers"),
    "sentence": Key(Shape.TEXT, "the requirement in words"),
    "kind": Key(
        choice("initial", "invariant", "step", "response", "reachable", "bounded"),
        "how the formula is meant",
    ),
    "trigger": Key(Shape.FORMULA, "when the time starts (response, bounded)", required=False),
    "formula": Key(Shape.FORMULA, "what must hold"),
    "within_ticks": Key(Shape.WHOLE, "time allowed (response, bounded)", required=False),
    "proved_by": Key(Shape.TEXT, "how it is to be proved, in words"),
    "vacuous_because": Key(
        Shape.TEXT, "why its premise or trigger need not occur, if it does not", required=False
    ),
}
STAGE: Layout = {
    "title": Key(Shape.TEXT, "the gain's name in the trade"),
    "unit": Key(Shape.TEXT, "unit of the gain"),
    "rung": Key(Shape.NAME, "output that selects the rung to apply"),
    "limit": Key(Shape.NAME, "variable that holds the lowest rung with onset"),
    "result": Key(Shape.NAME, "variable that holds the chosen rung"),
    "onset": Key(Shape.NAME, "variable, true if onset was reported at the limit"),
    "ratio": Key(Shape.NUMBER, "step from one rung to the next, above 1, at most 2"),
    "rungs": Key(Shape.WHOLE, "number of rungs, 2 to 128"),
    "margin": Key(Shape.NUMBER, "the result is at most limit * (1 - margin); above 0, below 1"),
    "margin_rungs": Key(Shape.WHOLE, "the same margin as a number of rungs"),
    "pulse_share": Key(Shape.NUMBER, "greatest test pulse, share of the drive's torque limit"),
    "response_share": Key(
        Shape.NUMBER, "torque with which the loop may answer the pulse, share of the torque limit"
    ),
    "burst_share": Key(Shape.NUMBER, "torque oscillation that counts as a burst, share"),
    "silence_counts": Key(Shape.NUMBER, "speed error that counts as silence, encoder counts"),
}
EQUIVALENT_MUTANTS: Layout = {
    "mutants": Key(
        Shape.TEXTS, "ids of mutants as the prover reports them; * stands for any characters"
    ),
    "why": Key(Shape.TEXT, "why these mutants do the same as the trial itself"),
}

NAMED_TABLES: Mapping[str, tuple[Layout, bool, str]] = {
    "constants": (CONSTANT, False, "fixed integers that expressions use by name"),
    "inputs": (INPUT, True, "what the drive tells the trial on every tick"),
    "variables": (VARIABLE, False, "what the trial remembers from tick to tick"),
    "outputs": (OUTPUT, False, "what the trial asks of the drive, from state and variables"),
    "conditions": (CONDITION, True, "named boolean values, the columns of the decision tables"),
    "states": (STATE, True, "the states of the trial"),
    "stages": (STAGE, False, "the gains that the trial raises"),
    "hazards": (HAZARD, True, "what can go wrong and hurt"),
    "requirements": (REQUIREMENT, True, "what must always hold, each answering a hazard"),
    "equivalent_mutants": (
        EQUIVALENT_MUTANTS,
        False,
        "single changes that make no difference, with the reason",
    ),
}
"""Table of the file: layout of its entries, whether it must be there, what it holds."""
ENUMERATIONS = "enumerations"
"""Table of tables: each enumeration is a table of named values."""
