"""Loads a trial from its TOML file; reports everything wrong with it in one go."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from gainwright.described.file_kind import TRIAL as TRIAL_FILE
from gainwright.described.file_kind import refuse_other_kind
from gainwright.described.nearest import suggestion
from gainwright.described.problems import Problems
from gainwright.described.shape import said
from gainwright.described.table import read_table
from gainwright.described.text_file import read_text, toml_in
from gainwright.language.behaviour import read_rows, read_states
from gainwright.language.declarations import (
    read_conditions,
    read_constants,
    read_enumerations,
    read_inputs,
    read_outputs,
    read_variables,
)
from gainwright.language.demands import read_equivalent_mutants, read_hazards, read_requirements
from gainwright.language.digest import trial_digest
from gainwright.language.layout import ENUMERATIONS, NAMED_TABLES, TRIAL
from gainwright.language.model import Trial
from gainwright.language.reader import Reader
from gainwright.language.stages import read_stages
from gainwright.language.validate import check_reachable, check_tables, check_unused

LONGEST_TICK_US = 1_000_000


def load_trial(path: str | Path) -> Trial:
    """Return the validated trial in a file; InputError with all problems otherwise.

    A text that this process has read before is not judged again: trials are immutable.
    """
    return _from_text(read_text(path), str(path))


@lru_cache(maxsize=8)
def _from_text(text: str, file: str) -> Trial:
    return trial_from_document(toml_in(text, file), file)


def trial_from_document(document: Mapping[str, Any], file: str) -> Trial:
    """Return the trial in a parsed TOML document; ``file`` names it in error messages."""
    refuse_other_kind(document, file, TRIAL_FILE)
    problems = Problems(file)
    reader = Reader(document, problems)
    _check_tables_known(reader)
    heading = _heading(reader)
    constants = read_constants(reader)
    enumerations = read_enumerations(reader)
    inputs = read_inputs(reader)
    variables = read_variables(reader)
    outputs = read_outputs(reader)
    conditions = read_conditions(reader)
    states = read_states(reader)
    rows = read_rows(reader)
    stages = read_stages(reader)
    hazards = read_hazards(reader)
    requirements = read_requirements(reader, hazards)
    equivalent_mutants = read_equivalent_mutants(reader)
    _check_initial_state(reader, heading)
    check_unused(reader)
    if heading.get("initial_state") in reader.states:
        check_reachable(heading["initial_state"], states, rows, problems)
    # Tables are judged only where every name means something, or the findings would mislead.
    if (
        reader.rows_sound
        and reader.all_declarations_sound()
        and all(name in reader.conditions for row in rows for name in (*row.when, *row.unless))
    ):
        check_tables(states, rows, conditions, reader.signals(), problems)
    problems.raise_if_any()
    trial = Trial(
        name=heading["name"],
        title=heading["title"],
        tick_us=heading["tick_us"],
        initial_state=heading["initial_state"],
        constants=constants,
        inputs=inputs,
        outputs=outputs,
        variables=variables,
        conditions=conditions,
        states=states,
        rows=rows,
        hazards=hazards,
        requirements=requirements,
        stages=stages,
        digest="",
        equivalent_mutants=equivalent_mutants,
        enumerations=enumerations,
        rehearsals_only=heading.get("rehearsals_only", ""),
    )
    return replace(trial, digest=trial_digest(trial))


def _check_tables_known(reader: Reader) -> None:
    known = ("trial", ENUMERATIONS, *NAMED_TABLES, "rows")
    for key in reader.document:
        if key not in known:
            reader.problems.add(
                f"[{key}]", "an unknown table", f"one of {', '.join(known)}", suggestion(key, known)
            )


def _heading(reader: Reader) -> dict[str, Any]:
    if "trial" not in reader.document:
        reader.problems.add(
            "[trial]", "no such table", "a trial file", "add [trial] with name, title, tick_us"
        )
        return {}
    heading = read_table(reader.document["trial"], TRIAL, "[trial]", reader.problems)
    if "tick_us" in heading:
        place = "[trial], tick_us"
        heading["tick_us"] = reader.whole(heading["tick_us"], place, 1, LONGEST_TICK_US)
    return heading


def _check_initial_state(reader: Reader, heading: Mapping[str, Any]) -> None:
    state = heading.get("initial_state")
    if state is not None and state not in reader.states:
        reader.problems.add(
            "[trial], initial_state",
            said(state),
            "a state of the trial",
            suggestion(state, reader.states),
        )
