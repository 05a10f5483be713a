"""The digest depends on meaning only; the JSON Schema agrees with the loader."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib
from dataclasses import replace

import jsonschema
import pytest

from gainwright.errors import InputError
from gainwright.language.digest import trial_digest
from gainwright.language.load import load_trial, trial_from_document
from gainwright.language.schema import trial_schema
from gainwright.language.shipped import shipped_trial_names, shipped_trial_path

from ..shared.small_trial import SMALL, edited
from .trial_mistakes import CASES


def _digest(text: str) -> str:
    return trial_from_document(tomllib.loads(text), "x.toml").digest


def test_layout_and_comments_do_not_count():
    plain = _digest(SMALL)
    assert plain == _digest("# a comment\n" + SMALL.replace("\n\n", "\n\n\n"))
    assert plain == _digest(
        edited(("actions = { rung = 0, time = 0 }", "actions.time = 0\nactions.rung = 0"))
    )
    assert plain == _digest(edited(('holds = "level > 50"', 'holds = "(level  > (50))"')))
    assert plain == _digest(edited(("time = 0 }\nwhy", 'time = "0" }\nwhy')))
    assert plain == _digest(
        edited(
            (
                'limit = "rung", result = "max(rung - 2, 0)", rung',
                'limit = "rung", result = "max((rung) - 2, 0x0)", rung',
            )
        )
    )


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('holds = "level > 50"', 'holds = "level > 51"'),
        ('holds = "level > 50"', 'holds = "level >= 50"'),
        ('initial_state = "rest"', 'initial_state = "search"'),
        ('why = "Too late."', 'why = "Much too late."'),
        ("ratio = 1.5", "ratio = 1.51"),
        ("value = 7,", "value = 8,"),
        ("tick_us = 1000", "tick_us = 1001"),
        ("within_ticks = 1\n", "within_ticks = 2\n"),
        ('to = "search"\nactions', 'to = "search"\nunless = []\nactions'),
        ("end = true", "end = false"),
    ],
)
def test_meaning_counts(old, new):
    same = new == 'to = "search"\nunless = []\nactions'  # an empty list is the default
    assert (_digest(edited((old, new))) == _digest(SMALL)) == same


def test_order_of_declarations_counts():
    """It fixes the indices of inputs and rows in the exported C."""
    go = 'go = { kind = "boolean", meaning = "Search while true" }\n'
    swapped = edited((go, ""), ("[variables]", go + "\n[variables]"))
    assert _digest(swapped) != _digest(SMALL)


def test_digest_does_not_depend_on_the_process():
    code = (
        "from gainwright.language.load import load_trial;"
        "from gainwright.language.shipped import shipped_trial_path;"
        "print(load_trial(shipped_trial_path()).digest)"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("0", "1")
    }
    assert digests == {load_trial(shipped_trial_path()).digest + "\n"}


def test_digest_leaves_itself_out():
    trial = load_trial(shipped_trial_path())
    assert trial_digest(replace(trial, digest="something")) == trial.digest


VALIDATOR = jsonschema.Draft202012Validator(trial_schema())


def test_schema_is_a_schema_and_json():
    jsonschema.Draft202012Validator.check_schema(trial_schema())
    assert json.loads(json.dumps(trial_schema())) == trial_schema()


@pytest.mark.parametrize("name", shipped_trial_names())
def test_shipped_trials_fit_the_schema(name):
    VALIDATOR.validate(tomllib.loads(shipped_trial_path(name).read_text(encoding="utf-8")))


def test_small_trial_fits_the_schema():
    VALIDATOR.validate(tomllib.loads(SMALL))


# What an editor can see without understanding expressions and names.
SHAPE_CASES = [
    "unknown key",
    "misspelt key",
    "unknown table",
    "missing key",
    "text for a number",
    "boolean for a number",
    "number for a text",
    "empty text",
    "list for a text",
    "bad kind",
    "range of three",
    "decimal range",
    "bad name",
    "condition twice",
    "no why",
    "unknown requirement kind",
    "rows not a list",
    "inputs not a table",
    "entry not a table",
    "decimal in expression",
]


@pytest.mark.parametrize("case", SHAPE_CASES)
def test_schema_refuses_wrong_shapes(case):
    document = tomllib.loads(edited(CASES[case][:2]))
    assert not VALIDATOR.is_valid(document)
    with pytest.raises(InputError):
        trial_from_document(document, "x.toml")


def test_a_changed_file_is_read_anew_and_one_of_the_same_text_keeps_its_name(tmp_path):
    text = shipped_trial_path().read_text(encoding="utf-8")
    first, second = tmp_path / "first.toml", tmp_path / "second.toml"
    first.write_text(text, encoding="utf-8")
    before = load_trial(first)
    assert load_trial(first) is before
    changed = text.replace("top_rung = { value = 127", "top_rung = { value = 126")
    assert changed != text
    first.write_text(changed, encoding="utf-8")
    assert load_trial(first).constant("top_rung") == before.constant("top_rung") - 1
    broken = text.replace('when = ["quiet"]', 'when = ["qiuet"]')
    for file in (first, second, first):
        file.write_text(broken, encoding="utf-8")
        with pytest.raises(InputError, match=file.name):
            load_trial(file)
