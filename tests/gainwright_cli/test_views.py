"""Terminal views: every row, condition and requirement is there, and piped output is plain."""

from __future__ import annotations

import io
import re

import pytest
from rich.console import Console

from gainwright.language.decision_table import decision_table
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_names, shipped_trial_path
from gainwright_cli.views.tables import render_state, render_trial

TRIAL = load_trial(shipped_trial_path())


def _shown(width: int = 200, terminal: bool = False) -> str:
    stream = io.StringIO()
    render_trial(TRIAL, Console(file=stream, width=width, force_terminal=terminal))
    return stream.getvalue()


def test_everything_is_shown():
    text = _shown()
    named = [
        *TRIAL.inputs,
        *TRIAL.outputs,
        *TRIAL.variables,
        *TRIAL.constants,
        *TRIAL.conditions,
        *TRIAL.states,
    ]
    for thing in named:
        assert thing.name in text
    for row in TRIAL.rows:
        assert row.id in text
    for requirement in TRIAL.requirements:
        assert requirement.id in text
        assert requirement.sentence in " ".join(text.split())  # long ones are wrapped
    for hazard in TRIAL.hazards:
        assert hazard.consequence in text
    assert TRIAL.digest in text


def test_piped_output_is_plain_text():
    text = _shown(width=80)
    assert "\x1b" not in text
    assert max(map(len, text.splitlines())) <= 80
    assert text == _shown(width=80)


@pytest.mark.parametrize("terminal", [False, True])
@pytest.mark.parametrize("name", shipped_trial_names())
def test_tables_are_whole_in_80_columns(name, terminal):
    """No rule number, condition or entry is cut off: what does not fit side by side goes below."""
    trial, stream = load_trial(shipped_trial_path(name)), io.StringIO()
    console = Console(file=stream, width=80, force_terminal=terminal, no_color=True)
    for state in trial.states:
        render_state(trial, state, console)
    text = re.sub(r"\x1b\[[0-9;]*m", "", stream.getvalue())
    assert "\u2026" not in text
    heads = re.findall(r"^\W*condition((?: *\W* *\d+)+)", text, re.M)
    numbers = [int(number) for head in heads for number in re.findall(r"\d+", head)]
    rules = [len(trial.rows_by_state[state.name]) for state in trial.states]
    assert numbers == [number for count in rules for number in range(1, count + 1)]


def test_terminal_output_is_styled():
    assert "\x1b[" in _shown(terminal=True)


@pytest.mark.parametrize("state", [state.name for state in TRIAL.states])
def test_decision_table_says_what_the_rows_say(state):
    table = decision_table(TRIAL, state)
    assert table.rules == TRIAL.rows_by_state[state]
    for index, rule in enumerate(table.rules):
        column = dict(zip(table.conditions, (e[index] for e in table.entries), strict=True))
        assert {name for name, entry in column.items() if entry == "Y"} == set(rule.when)
        assert {name for name, entry in column.items() if entry == "N"} == set(rule.unless)
        assert set(column.values()) <= {"Y", "N", "-"}


def test_unknown_state():
    with pytest.raises(KeyError):
        decision_table(TRIAL, "nowhere")
