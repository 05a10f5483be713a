"""Single-hit decision tables against brute force, and against the definition of ISO 5806."""

from __future__ import annotations

import itertools
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainwright.errors import InputError
from gainwright.language.attainable import Attainable
from gainwright.language.load import trial_from_document
from gainwright.language.model import Condition, Kind, Row
from gainwright.language.parse import parse
from gainwright.language.scope import ANY_BOOLEAN, Bounds
from gainwright.language.single_hit import table_faults
from gainwright.language.single_hit_solver import solved_faults
from gainwright.language.table_fault import DeadRow, Gap, Overlap
from gainwright.semantics.evaluate import evaluate

from ..shared.cases import cases


def _row(number: int, when: tuple[str, ...], unless: tuple[str, ...]) -> Row:
    return Row(f"r{number}", "s", when, unless, "s", {}, "")


def _free(names: str) -> Attainable:
    """Conditions that are free of each other, as the condition stub of a textbook table."""
    return Attainable(
        {name: Condition(name, parse(f"in_{name}"), "") for name in names},
        {f"in_{name}": ANY_BOOLEAN for name in names},
    )


def _table(*columns: str) -> list[Row]:
    """Read rules written as condition entries, e.g. ``"YN-"`` over the conditions a, b, c."""
    return [
        _row(
            number,
            tuple(n for n, e in zip("abcdef", column, strict=False) if e == "Y"),
            tuple(n for n, e in zip("abcdef", column, strict=False) if e == "N"),
        )
        for number, column in enumerate(columns)
    ]


# ISO 5806 (1984), single-hit decision tables: exactly one rule applies to every combination; a
# limited-entry table over n conditions has 2**n of them, and an entry "-" stands for both.
# (Definition from memory; the tables are our own.)
@pytest.mark.parametrize(
    "columns",
    [
        ("Y", "N"),
        ("YY", "YN", "NY", "NN"),
        ("Y-", "NY", "NN"),
        ("YY-", "YN-", "N-Y", "N-N"),
        ("Y--", "NY-", "NNY", "NNN"),
        ("YN-", "-YN", "N-Y", "YYY", "NNN"),  # no condition is looked at by all rules
    ],
)
def test_single_hit_tables(columns):
    assert table_faults(_table(*columns), _free("abc")) == []


def test_gap_has_the_smallest_example():
    (fault,) = table_faults(_table("YY-", "YN-", "NYY"), _free("abc"))
    assert isinstance(fault, Gap)
    assert fault.example.booleans == {"a": False, "b": False, "c": False}


def test_gap_that_needs_true_conditions():
    (fault,) = table_faults(_table("N--", "YN-", "YYN"), _free("abc"))
    assert isinstance(fault, Gap)
    assert fault.example.booleans == {"a": True, "b": True, "c": True}


def test_overlap_names_both_rows_and_an_example():
    (fault,) = table_faults(_table("Y-", "-Y", "NN"), _free("ab"))
    assert isinstance(fault, Overlap)
    assert (fault.first.id, fault.second.id) == ("r0", "r1")
    assert fault.example.booleans == {"a": True, "b": True}


entries = st.lists(st.text("YN-", min_size=4, max_size=4), min_size=1, max_size=7)


@given(entries)
def test_faults_are_those_that_brute_force_finds(columns):
    rows = _table(*columns)
    used = sorted({name for row in rows for name in (*row.when, *row.unless)})
    hits = []
    for values in itertools.product((False, True), repeat=len(used)):
        booleans = dict(zip(used, values, strict=True))
        hits.append(
            (
                sum(values),
                frozenset(
                    row.id
                    for row in rows
                    if all(booleans[n] for n in row.when)
                    and not any(booleans[n] for n in row.unless)
                ),
            )
        )
    faults = table_faults(rows, _free("abcd"))
    gaps = [count for count, holding in hits if not holding]
    found = [f for f in faults if isinstance(f, Gap)]
    assert len(found) == (1 if gaps else 0)
    if gaps:
        assert sum(found[0].example.booleans.values()) == min(gaps)
    pairs = {pair for _, holding in hits for pair in itertools.combinations(sorted(holding), 2)}
    assert {(f.first.id, f.second.id) for f in faults if isinstance(f, Overlap)} == pairs


NUMBERS = {"x": Bounds(Kind.INTEGER, -3, 4), "y": Bounds(Kind.INTEGER, 0, 3), "t": ANY_BOOLEAN}
comparisons = st.one_of(
    st.builds(
        "{} {} {}".format,
        st.sampled_from("xy"),
        st.sampled_from(["<", "<=", ">", ">=", "==", "!="]),
        st.integers(-4, 5),
    ),
    st.just("t"),
    st.builds("x {} y".format, st.sampled_from(["<", ">=", "=="])),
)
condition_texts = st.lists(
    st.one_of(
        comparisons,
        st.builds("{} and {}".format, comparisons, comparisons),
        st.builds("{} or not ({})".format, comparisons, comparisons),
    ),
    min_size=1,
    max_size=4,
)


@given(condition_texts)
def test_attainable_combinations_are_exactly_those_of_brute_force(texts):
    names = "abcd"[: len(texts)]
    conditions = {n: Condition(n, parse(t), "") for n, t in zip(names, texts, strict=True)}
    groups = Attainable(conditions, NUMBERS).combinations(names)
    found = {
        tuple(dict(pair for part in parts for pair in part.booleans.items())[n] for n in names)
        for parts in itertools.product(*groups)
    }
    everything = itertools.product(range(-3, 5), range(4), (0, 1))
    expected = {
        tuple(bool(evaluate(conditions[n].expression, {"x": x, "y": y, "t": t})) for n in names)
        for x, y, t in everything
    }
    assert found == expected


def test_witness_causes_its_combination():
    conditions = {
        "early": Condition("early", parse("time < 10"), ""),
        "late": Condition("late", parse("time >= 100 and not early"), ""),
    }
    signals = {"time": Bounds(Kind.INTEGER, 0, 1000)}
    (group,) = Attainable(conditions, signals).combinations(conditions)
    assert [tuple(c.booleans.values()) for c in group] == [
        (False, False),
        (False, True),
        (True, False),
    ]
    for combination in group:
        time = combination.witness["time"]
        assert (time < 10, time >= 100) == tuple(combination.booleans.values())


def test_contradictory_conditions_are_no_gap_and_no_overlap():
    """``a < 3`` and ``a > 5`` cannot hold together: that is shown, not assumed."""
    conditions = {
        "low": Condition("low", parse("a < 3"), ""),
        "high": Condition("high", parse("a > 5"), ""),
    }
    attainable = Attainable(conditions, {"a": Bounds(Kind.INTEGER, 0, 9)})
    middle = _row(2, (), ("low", "high"))
    assert table_faults([_row(0, ("low",), ()), _row(1, ("high",), ()), middle], attainable) == []
    both = _row(3, ("low", "high"), ())
    assert table_faults(
        [_row(0, ("low",), ()), _row(1, ("high",), ()), middle, both], attainable
    ) == [DeadRow(both)]


@settings(max_examples=60)
@given(entries, condition_texts)
def test_the_solver_finds_what_counting_finds(columns, texts):
    names = "abcd"[: len(texts)]
    conditions = {n: Condition(n, parse(t), "") for n, t in zip(names, texts, strict=True)}
    rows = _table(*(column[: len(texts)] for column in columns))
    if not any(row.when or row.unless for row in rows):
        return
    attainable = Attainable(conditions, NUMBERS)
    counted, solved = table_faults(rows, attainable), solved_faults(rows, attainable)

    def said(faults):
        pairs = {(f.first.id, f.second.id) for f in faults if isinstance(f, Overlap)}
        gaps = [sum(f.example.booleans.values()) for f in faults if isinstance(f, Gap)]
        return {f.row.id for f in faults if isinstance(f, DeadRow)}, pairs, gaps

    assert said(solved) == said(counted)
    for fault in solved:
        if not isinstance(fault, DeadRow):
            values = dict.fromkeys(NUMBERS, 0) | fault.example.witness
            for name, boolean in fault.example.booleans.items():
                assert evaluate(conditions[name].expression, values) == boolean


def test_conditions_over_many_inputs_are_decided_by_the_solver():
    names = [f"i{number}" for number in range(20)]
    condition = Condition("all_in", parse(" and ".join(names)), "")
    attainable = Attainable({"all_in": condition}, dict.fromkeys(names, ANY_BOOLEAN))
    assert attainable.combinations(["all_in"]) is None
    (gap,) = table_faults([_row(0, ("all_in",), ())], attainable)
    assert gap.example.booleans == {"all_in": False} and 0 in gap.example.witness.values()
    assert table_faults([_row(0, ("all_in",), ()), _row(1, (), ("all_in",))], attainable) == []


@pytest.mark.parametrize("faults", [table_faults, solved_faults])
def test_conditions_that_name_conditions_that_name_others(faults):
    """A state is asked for what its rows look at, and for all that this depends on; no more."""
    texts = {"idle": "c", "near": "a < 3", "soft": "near and b < 5", "elsewhere": "d == 7"}
    texts |= {"calm": "soft and b != 1", "done": "calm and not idle"}
    conditions = {name: Condition(name, parse(text), "") for name, text in texts.items()}
    names = dict.fromkeys("abd", Bounds(Kind.INTEGER, 0, 9)) | {"c": ANY_BOOLEAN}
    attainable = Attainable(conditions, names)
    rows = [_row(0, ("done",), ()), _row(1, ("near",), ("done",)), _row(2, (), ("near",))]
    assert faults(rows, attainable) == []
    (gap,) = faults(rows[:2], attainable)
    assert gap.example.booleans == {"done": False, "near": False}
    assert "a" in gap.example.witness and "d" not in gap.example.witness
    assert faults([*rows, _row(3, ("done",), ("near",))], attainable) == [
        DeadRow(_row(3, ("done",), ("near",)))
    ]


def _priorities(count: int, last: bool = True) -> list[Row]:
    """Each row holds if its condition does and none before it; the last one if none does."""
    names = [f"c{number}" for number in range(count)]
    rows = [_row(n, (name,), tuple(names[:n])) for n, name in enumerate(names)]
    return [*rows, _row(count, (), tuple(names))] if last else rows


def _many(count: int, text: str) -> Attainable:
    conditions = {f"c{n}": Condition(f"c{n}", parse(text.format(n=n)), "") for n in range(count)}
    inputs = dict.fromkeys((f"i{n}" for n in range(count)), ANY_BOOLEAN)
    return Attainable(conditions, {**inputs, "time": Bounds(Kind.INTEGER, 0, 1000)})


@pytest.mark.parametrize("text", cases(["i{n}"], slow=["i{n} and time >= {n}"]))
def test_two_hundred_conditions_of_one_state(text):
    """Independent ones are counted, those that share a name are solved; neither is enumerated."""
    attainable = _many(200, text)
    assert table_faults(_priorities(200), attainable) == []
    (gap,) = table_faults(_priorities(200, last=False), attainable)
    assert not any(gap.example.booleans.values())
    doubled = [*_priorities(200), _row(300, ("c7", "c150"), ("c3",))]
    overlaps = table_faults(doubled, attainable)
    assert overlaps and all(isinstance(fault, Overlap) for fault in overlaps)
    assert all("r300" in (fault.first.id, fault.second.id) for fault in overlaps)


def test_smallest_gap_of_a_hundred_conditions():
    """All rows need a true condition among the first ten; the gap needs two of the others."""
    names = [f"c{number}" for number in range(100)]
    rows = _priorities(10, last=False)
    rest = [_row(n, (), (*names[:10], names[10])) for n in (20,)]
    rest += [_row(21, (names[10],), (*names[:10], names[11]))]
    (gap,) = table_faults([*rows, *rest], _many(100, "i{n}"))
    assert {name for name, true in gap.example.booleans.items() if true} == {"c10", "c11"}


def test_the_same_fault_is_reported_from_a_file():
    document = tomllib.loads(
        """
        [trial]
        name = "two_rules"
        title = "A table with an overlap"
        tick_us = 1
        initial_state = "s"
        [inputs]
        p = { kind = "boolean", meaning = "p" }
        q = { kind = "boolean", meaning = "q" }
        [conditions]
        a = { holds = "p", meaning = "p" }
        b = { holds = "q", meaning = "q" }
        [states.s]
        meaning = "the only one"
        end = true
        [[rows]]
        id = "one"
        from = "s"
        when = ["a"]
        why = "one"
        [[rows]]
        id = "two"
        from = "s"
        when = ["b"]
        why = "two"
        [hazards.h]
        consequence = "h"
        [requirements.r]
        hazard = "h"
        sentence = "r"
        kind = "step"
        formula = "p or q"
        proved_by = "nothing"
        """
    )
    with pytest.raises(InputError) as caught:
        trial_from_document(document, "two.toml")
    overlap, gap = caught.value.problems
    assert "rows 'one' and 'two' both hold when only a, b hold" in overlap.found
    assert "no row holds when no condition holds (for example p = 0, q = 0)" in gap.found


@pytest.mark.parametrize("text", ["x or y", "x and y", "not x and y", "x == (not y)"])
def test_an_example_whose_booleans_leave_each_other_no_choice(text):
    """The values near zero of one boolean may force another one to a value that no model had."""
    attainable = Attainable(
        {"c": Condition("c", parse(text), "")}, {"x": ANY_BOOLEAN, "y": ANY_BOOLEAN}
    )
    (gap,) = solved_faults([_row(0, (), ("c",))], attainable)
    assert isinstance(gap, Gap)
    x, y = (gap.example.witness[name] for name in "xy")
    assert evaluate(parse(text), {"x": x, "y": y})
