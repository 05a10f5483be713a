"""Bad trial files: every problem at once, each with file, place, finding and remedy."""

from __future__ import annotations

import os

import pytest

from gainwright.errors import InputError
from gainwright.spec.load import load_trial
from gainwright.spec.shipped import shipped_trial_path

from .small_trial import SMALL, edited

ROW_ONSET = 'id = "onset"'
# Old text, new text, place, part of found, part of expected or remedy.
CASES = {
    "unknown key": ("tick_us = 1000", "tick_us = 1000\nticks = 3", "[trial]", "key 'ticks'", "one"),
    "misspelt key": (
        'title = "One',
        'titel = "One',
        "[trial]",
        "unknown key 'titel'",
        "did you mean 'title'?",
    ),
    "unknown table": ("[stages.", "[stage.", "[stage]", "an unknown table", "did you mean"),
    "missing key": ("tick_us = 1000\n", "", "[trial]", "no key 'tick_us'", "add tick_us"),
    "decimal number": ("tick_us = 1000", "tick_us = 0.5", "tick_us", "number 0.5", "integer"),
    "not a number": ("ratio = 1.5", "ratio = nan", "ratio", "not a number (nan)", "plain number"),
    "infinite": ("ratio = 1.5", "ratio = inf", "ratio", "the decimal number inf", "finite"),
    "text for a number": ("ratio = 1.5", 'ratio = "x"', "ratio", "the text 'x'", "plain number"),
    "truth for a number": ("ratio = 1.5", "ratio = true", "ratio", "true", "finite number"),
    "number for a text": (
        'title = "One gain, raised while it is calm"',
        "title = 5",
        "title",
        "integer 5",
        "quotes",
    ),
    "empty text": ('unit = "N m s/rad"', 'unit = ""', "unit", "an empty text", "not empty"),
    "date": ("ratio = 1.5", "ratio = 2020-01-01", "ratio", "a date", "finite number"),
    "list for a text": ('unit = "N m s/rad"', "unit = []", "unit", "a list of 0", "quotes"),
    "negative tick": ("tick_us = 1000", "tick_us = -1", "tick_us", "the integer -1", "1 to"),
    "huge integer": ("tick_us = 1000", "tick_us = 99999999999", "tick_us", "99999999999", "bits"),
    "bad kind": (
        'level = { kind = "integer"',
        'level = { kind = "int"',
        "[inputs] level, kind",
        "'int'",
        "one of truth, integer",
    ),
    "no range": (", range = [0, 100]", "", "level", "without a range", "range = [low, high]"),
    "range of a truth": (
        'go = { kind = "truth"',
        'go = { kind = "truth", range = [0, 1]',
        "go, range",
        "a range of a truth value",
        "remove the range",
    ),
    "range turned": ("[0, 100]", "[100, 0]", "level, range", "[100, 0]", "smaller value first"),
    "range of three": ("[0, 100]", "[0, 1, 2]", "level, range", "a list of 3", "[low, high]"),
    "decimal range": ("[0, 100]", "[0, 1.5]", "level, range", "decimal number 1.5", "integers"),
    "initial outside": (
        'range = [0, "patience"], initial = 0',
        'range = [0, "patience"], initial = 99',
        "time, initial",
        "the initial value 99",
        "0 to 10",
    ),
    "initial of wrong type": (
        'found = { kind = "truth", initial = false',
        'found = { kind = "truth", initial = 0',
        "found, initial",
        "an integer: 0",
        "a truth value",
    ),
    "bad name": ("[states.search]", "[states.Search]", "[states] Search", "'Search'", "lower case"),
    "double underscore": ("go = {", "go__on = {", "[inputs] go__on", "'go__on'", "single _"),
    "reserved name": ("go = {", "next = {", "[inputs] next", "reserved word 'next'", "rename"),
    "name used twice": ("go = {", "top = {", "[inputs] top", "a constant already", "rename"),
    "duplicate id": (ROW_ONSET, 'id = "leave"', "row number 4", "'leave' a second", "rename"),
    "unknown condition": (
        'when = ["wanted", "late"]',
        'when = ["wanted", "lat"]',
        "row 'too_late', when",
        "unknown condition 'lat'",
        "did you mean 'late'?",
    ),
    "input as condition": (
        'when = ["wanted", "late"]',
        'when = ["go", "late"]',
        "row 'too_late', when",
        "'go', which is an input",
        "declare a condition that reads go",
    ),
    "condition twice": (
        'when = ["wanted", "late"]',
        'when = ["late", "late"]',
        "row 'too_late', when",
        "listed twice",
        "remove the repetition",
    ),
    "condition both ways": (
        'unless = ["loud", "late"]',
        'unless = ["loud", "late", "wanted"]',
        "row 'raise'",
        "'wanted' both in when and in unless",
        "remove it from one",
    ),
    "unknown target": (
        'when = ["wanted"]\nto = "search"',
        'when = ["wanted"]\nto = "serch"',
        "row 'begin'",
        "unknown state 'serch'",
        "did you mean 'search'?",
    ),
    "unknown source": (
        'id = "stay"\nfrom = "rest"',
        'id = "stay"\nfrom = ["rest", "nap"]',
        "row 'stay'",
        "unknown state 'nap'",
        "declare it or remove it",
    ),
    "source twice": (
        'id = "stay"\nfrom = "rest"',
        'id = "stay"\nfrom = ["rest", "rest"]',
        "row 'stay', from",
        "listed twice",
        "remove the repetition",
    ),
    "no why": ('\nwhy = "Too late."', "", "row 'too_late'", "no key 'why'", "add why"),
    "unknown variable": (
        "actions = { rung = 0, time = 0 }",
        "actions = { rung = 0, timer = 0 }",
        "row 'begin', actions",
        "unknown name 'timer'",
        "did you mean 'time'?",
    ),
    "assignment to an input": (
        "actions = { rung = 0, time = 0 }",
        "actions = { rung = 0, time = 0, go = true }",
        "row 'begin', actions",
        "'go', which is an input",
        "variables only",
    ),
    "assignment never inside": (
        "actions = { rung = 0, time = 0 }",
        'actions = { rung = 0, time = "patience + 1" }',
        "row 'begin', actions, time",
        "patience + 1, which lies between 11 and 11",
        "widen the range",
    ),
    "assignment of wrong type": (
        "actions = { rung = 0, time = 0 }",
        "actions = { rung = true, time = 0 }",
        "row 'begin', actions, rung",
        "a truth value: True",
        "an integer",
    ),
    "assignment reads an output": (
        "actions = { rung = 0, time = 0 }",
        'actions = { rung = "applied", time = 0 }',
        "row 'begin', actions, rung",
        "'applied', which is an output",
        "reads inputs, variables, constants",
    ),
    "division": (
        'limit = "rung"',
        'limit = "rung / 2"',
        "row 'onset', actions, limit, column 6",
        "a division",
        "shift right",
    ),
    "decimal in expression": (
        'limit = "rung"',
        "limit = 1.5",
        "row 'onset', actions",
        "limit = the decimal number 1.5",
        "quotes",
    ),
    "next in a row": (
        'limit = "rung"',
        'limit = "next(rung)"',
        "row 'onset', actions, limit, column 1",
        "next(...)",
        "requirements",
    ),
    "unknown name in a condition": (
        '"level > 50"',
        '"levle > 50"',
        "[conditions] loud, holds",
        "unknown name 'levle'",
        "did you mean 'level'?",
    ),
    "condition of integer type": (
        '"level > 50"',
        '"level"',
        "[conditions] loud, holds",
        "an integer: level",
        "compare it",
    ),
    "condition always false": (
        '"level > 50"',
        '"level > 100"',
        "[conditions] loud, holds",
        "always false: level > 100",
        "mend the comparison or the range",
    ),
    "condition reads one below": (
        'wanted = { holds = "go"',
        'wanted = { holds = "go or late"',
        "[conditions] wanted, holds",
        "'late'",
        "declare",
    ),
    "overflow": (
        '"level > 50"',
        '"level * 30000000 > 50"',
        "[conditions] loud, holds",
        "between 0 and 3000000000",
        "32 bits signed",
    ),
    "output outside its range": (
        'range = [0, 127], default = "rung"',
        'range = [0, 3], default = "rung"',
        "[outputs] applied, default",
        "values from 0 to 7",
        "limit the value",
    ),
    "unknown output in a state": (
        "outputs = { torque = true }",
        "outputs = { torqu = true }",
        "[states] search, outputs",
        "unknown output 'torqu'",
        "did you mean 'torque'?",
    ),
    "output reads an input": (
        "outputs = { torque = true }",
        'outputs = { torque = "go" }',
        "[states] search, outputs, torque",
        "'go', which is an input",
        "reads variables, constants",
    ),
    "unused input": (
        "[variables]",
        'spare = { kind = "truth", meaning = "Nothing" }\n\n[variables]',
        "spare",
        "an input that nothing reads",
        "remove it",
    ),
    "unused constant": (
        "[inputs]",
        'spare = { value = 3, meaning = "Nothing" }\n\n[inputs]',
        "spare",
        "a constant that nothing reads",
        "remove it",
    ),
    "unused condition": (
        "[states.rest]",
        'spare = { holds = "go", meaning = "Nothing" }\n\n[states.rest]',
        "spare",
        "a condition that nothing reads",
        "remove it",
    ),
    "state without rows": (
        '[[rows]]\nid = "begin"',
        '[states.nap]\nmeaning = "Sleeps"\n\n[[rows]]\nid = "begin"',
        "[states] nap",
        "a state without rows",
        "leads to itself",
    ),
    "state not reachable": (
        'when = ["wanted"]\nto = "search"',
        'when = ["wanted"]\nto = "rest"',
        "[states] search",
        "no row leads to",
        "remove the state",
    ),
    "gap": (
        'when = ["wanted"]\nunless = ["loud", "late"]',
        'when = ["wanted", "loud"]\nunless = ["late"]',
        "[states] search",
        "no row holds when only wanted hold (for example go = 1, level = 0",
        "staying put is a row too",
    ),
    "overlap": (
        'unless = ["loud", "late"]',
        'unless = ["late"]',
        "[states] search",
        "rows 'onset' and 'raise' both hold when only loud, wanted hold",
        "unless",
    ),
    "row never holds": (
        'when = ["wanted", "late"]\nunless = ["loud"]',
        'when = ["wanted", "late", "early"]\nunless = ["loud"]',
        "row 'too_late'",
        "can never hold together",
        "remove the row",
    ),
    "unknown hazard": (
        'hazard = "runaway"\nsentence = "The search ends."',
        'hazard = "run"\nsentence = "The search ends."',
        "[requirements] ends, hazard",
        "unknown hazard 'run'",
        "hazard of the trial",
    ),
    "hazard not answered": (
        "[requirements.ends]",
        '[hazards.fire]\nharm = "It burns"\n\n[requirements.ends]',
        "[hazards] fire",
        "no requirement answers",
        "add a requirement",
    ),
    "unknown requirement kind": (
        'kind = "response"',
        'kind = "always"',
        "[requirements] loud_drops, kind",
        "'always'",
        "invariant, step, response",
    ),
    "response without trigger": (
        'trigger = "torque and loud"\n',
        "",
        "[requirements] loud_drops",
        "no key 'trigger'",
        "add trigger",
    ),
    "invariant with time": (
        'kind = "invariant"',
        'kind = "invariant"\nwithin_ticks = 3',
        "[requirements] result_below_limit, within_ticks",
        "within_ticks in a requirement of kind invariant",
        "change the kind",
    ),
    "no time at all": (
        "within_ticks = 1",
        "within_ticks = 0",
        "[requirements] loud_drops, within_ticks",
        "the integer 0",
        "1 to",
    ),
    "invariant over inputs": (
        '"found implies result + 2 <= limit or result == 0"',
        '"go implies result == 0"',
        "[requirements] result_below_limit, formula",
        "'go', which is an input",
        "reads variables, outputs, constants",
    ),
    "next of an input": (
        '"next(rung) > rung implies not loud and found == next(found)"',
        '"next(go) implies not loud"',
        "[requirements] raised_when_calm, formula",
        "next(go), where go is an input",
        "plain name",
    ),
    "unknown state in a formula": (
        '"in_state(rest)"',
        '"in_state(reset)"',
        "[requirements] ends, formula",
        "unknown state 'reset'",
        "did you mean 'rest'?",
    ),
    "formula always true": (
        '"found and limit == top"',
        '"found and limit == top or limit <= top"',
        "[requirements] can_find, formula",
        "always true",
        "says something",
    ),
    "stage without output": (
        'rung = "applied"',
        'rung = "aplied"',
        "[stages] speed_gain, rung",
        "unknown output 'aplied'",
        "did you mean 'applied'?",
    ),
    "stage with unknown limit": (
        '\nlimit = "limit"',
        '\nlimit = "limits"',
        "[stages] speed_gain, limit",
        "unknown variable 'limits'",
        "did you mean 'limit'?",
    ),
    "stage with unknown result": (
        '\nresult = "result"',
        '\nresult = "outcome"',
        "[stages] speed_gain, result",
        "unknown variable 'outcome'",
        "declare",
    ),
    "stage with onset of wrong kind": (
        'onset = "found"',
        'onset = "limit"',
        "[stages] speed_gain, onset",
        "'limit' of kind integer",
        "kind truth",
    ),
    "ratio of one": ("ratio = 1.5", "ratio = 1.0", "speed_gain, ratio", "1.0", "above 1"),
    "too many rungs": ("rungs = 128", "rungs = 129", "speed_gain, rungs", "integer 129", "2 to"),
    "ladder shorter than its output": (
        "rungs = 128",
        "rungs = 64",
        "speed_gain, rung",
        "'applied' with the range 0 to 127",
        "0 to 63",
    ),
    "margin not kept": (
        "margin = 0.5",
        "margin = 0.6",
        "speed_gain, margin_rungs",
        "2 rungs, which leave 0.4444 of the limit",
        "use more margin_rungs",
    ),
    "negative share": (
        "pulse_share = 0.01",
        "pulse_share = -0.01",
        "speed_gain, pulse_share",
        "-0.01",
        "above 0",
    ),
    "unknown initial state": (
        'initial_state = "rest"',
        'initial_state = "idle"',
        "[trial], initial_state",
        "the text 'idle'",
        "a state of the trial",
    ),
    "rows not a list": (
        SMALL[SMALL.index("[[rows]]") : SMALL.index("[stages.")],
        "[rows]\nid = 3\n\n",
        "[[rows]]",
        "a table",
        "add [[rows]]",
    ),
    "inputs not a table": (
        SMALL[SMALL.index("[inputs]") : SMALL.index("[variables]")],
        "",
        "[inputs]",
        "no such table",
        "add [inputs.some_name]",
    ),
    "entry not a table": (
        "[hazards]",
        "[hazards]\nfire = 3",
        "[hazards] fire",
        "the integer 3",
        "a table",
    ),
}
EXTRA_EDITS = {
    "row never holds": [
        ("[states.rest]", 'early = { holds = "time < 3", meaning = "Early" }\n\n[states.rest]')
    ],
}


@pytest.mark.parametrize("case", CASES)
def test_one_mistake_is_reported_in_its_place(case, tmp_path):
    old, new, place, found, advice = CASES[case]
    file = tmp_path / "bad.toml"
    file.write_text(edited((old, new), *EXTRA_EDITS.get(case, [])), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_trial(file)
    problems = caught.value.problems
    fitting = [
        problem
        for problem in problems
        if place in problem.place
        and found in problem.found
        and advice in f"{problem.expected} {problem.remedy}"
    ]
    assert fitting, str(caught.value)
    for problem in problems:
        assert problem.file == str(file)
        assert all((problem.place, problem.found, problem.expected, problem.remedy))
    assert "Traceback" not in str(caught.value)


# One mistake must not bury the reader in others that only follow from it.
FOLLOW_UPS = {
    "state not reachable",  # the state is also never left
    "inputs not a table",
    "rows not a list",
    "initial of wrong type",
    "bad name",
    "reserved name",
    "double underscore",
    "name used twice",
    "unknown condition",
    "unknown table",
    "misspelt key",
    "unknown target",
}


@pytest.mark.parametrize("case", sorted(CASES.keys() - FOLLOW_UPS))
def test_one_mistake_is_few_problems(case, tmp_path):
    old, new, *_ = CASES[case]
    file = tmp_path / "bad.toml"
    file.write_text(edited((old, new), *EXTRA_EDITS.get(case, [])), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_trial(file)
    assert len(caught.value.problems) <= 2, str(caught.value)


def test_all_mistakes_are_reported_in_one_go(tmp_path):
    file = tmp_path / "bad.toml"
    cases = ["decimal number", "unknown condition", "division", "unknown hazard", "ratio of one"]
    file.write_text(edited(*(CASES[case][:2] for case in cases)), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_trial(file)
    text = str(caught.value)
    for case in cases:
        assert CASES[case][3] in text


def test_the_small_trial_itself_is_good(tmp_path):
    file = tmp_path / "good.toml"
    file.write_text(SMALL, encoding="utf-8")
    assert [row.id for row in load_trial(file).rows][:2] == ["begin", "stay"]


def _bytes_file(content: bytes):
    def make(folder):
        path = folder / "trial.toml"
        path.write_bytes(content)
        return path

    return make


def _fifo(folder):
    path = folder / "pipe"
    os.mkfifo(path)
    return path


FILES = {
    "empty": (_bytes_file(b""), "empty"),
    "blank": (_bytes_file(b" \n\n"), "empty"),
    "binary": (_bytes_file(b"\x7fELF\x00\x01\x02"), "binary"),
    "not UTF-8": (_bytes_file(b'[trial]\nname = "\xff"'), "UTF-8"),
    "no TOML": (_bytes_file(b"[trial\nname = 3"), "TOML"),
    "key twice": (_bytes_file(b"[trial]\nname = 1\nname = 2"), "TOML"),
    "nested too deep": (_bytes_file(b"a = " + b"[" * 100_000), "TOML"),
    "huge number": (_bytes_file(b"a = " + b"9" * 20_000), "TOML"),
    "huge": (_bytes_file(b"#" * 3_000_000), "bytes"),
    "missing": (lambda folder: folder / "nothing.toml", "no such file"),
    "directory": (lambda folder: folder, "directory"),
    "pipe": (_fifo, "file"),
    "NUL in the path": (lambda folder: folder / "a\0b", "read"),
    "name too long": (lambda folder: folder / ("a" * 5000), "read"),
}


@pytest.mark.parametrize("case", FILES)
def test_unreadable_files(case, tmp_path):
    make, said = FILES[case]
    path = make(tmp_path)
    with pytest.raises(InputError) as caught:
        load_trial(path)
    (problem,) = caught.value.problems
    assert problem.file == str(path)
    assert said in f"{problem.found} {problem.expected}"
    assert problem.remedy


def test_unknown_shipped_trial():
    with pytest.raises(InputError, match="standard"):
        shipped_trial_path("stanard")
