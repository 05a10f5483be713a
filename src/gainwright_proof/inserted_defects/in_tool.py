"""Defects in the tool itself: another part of ``prove``, built by other code, must notice."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from gainwright.language import parse, validate
from gainwright.language.expression import InState, Operator
from gainwright.language.load import trial_from_document
from gainwright.semantics import array_code, python_code
from gainwright_codegen.sources import sequencer_sources
from gainwright_codegen.trial_c import expression as c_expression
from gainwright_proof.c_checks import esbmc, model_checking, plain_reference
from gainwright_proof.c_checks.report import Task
from gainwright_proof.c_checks.sanitized_runs import sanitized_runs
from gainwright_proof.c_checks.workspace import workspace
from gainwright_proof.exploration import (
    Limits,
    Vacuity,
    behaviour,
    encoding,
    exploration,
    explore,
    model_source,
    specialise,
    vectors,
)
from gainwright_proof.exploration.engine import Result
from gainwright_proof.exploration.rewrite import TRUE
from gainwright_proof.induction import expression as smt_expression
from gainwright_proof.induction.step import StepEncoding
from gainwright_proof.induction.terms import StepTerms
from gainwright_proof.induction.translation import translation_finding
from gainwright_proof.inserted_defects.defect import InsertedDefect, left_open
from gainwright_proof.inserted_defects.small import small_document, small_trial
from gainwright_proof.second_checker import promela, promela_expression
from gainwright_proof.second_checker.check import second_checker
from gainwright_proof.second_reader import expressions
from gainwright_proof.second_reader.check import second_reading


@contextmanager
def patched(place: Any, name: str, value: Any) -> Iterator[None]:
    """Put another value in the place of an attribute for a while."""
    kept = getattr(place, name)
    setattr(place, name, value)
    try:
        yield
    finally:
        setattr(place, name, kept)


def _explored(place: Any, name: str, value: Callable[[Any], Any]) -> Callable[[], tuple[str, ...]]:
    def judge() -> tuple[str, ...]:
        trial = small_trial()
        with patched(place, name, value(getattr(place, name))):
            return left_open(explore(trial).findings)

    return judge


def _reference(**changes: str) -> Callable[[], tuple[str, ...]]:
    """Return a judge for a defect of the reference in numpy."""

    def judge() -> tuple[str, ...]:
        dialect = replace(python_code.ARRAY, **changes)
        trial = small_trial()
        with patched(array_code, "ARRAY", dialect):
            return left_open(explore(trial).findings)

    return judge


def _read_twice(
    place: Any, name: str, value: Callable[[Any], Any]
) -> Callable[[], tuple[str, ...]]:
    """Return a judge for a defect of the reader: what is read is not what is written."""

    def judge() -> tuple[str, ...]:
        document = small_document()
        with patched(place, name, value(getattr(place, name))):
            trial = trial_from_document(document, "read with a defect")
        return left_open([second_reading(trial, document)])

    return judge


def _second_checker(
    place: Any, name: str, value: Callable[[Any], Any]
) -> Callable[[], tuple[str, ...]]:
    """Return a judge for a defect of the Promela export, beside a sound exploration."""

    def judge() -> tuple[str, ...]:
        states = explore(small_trial(), premises=True).short_wait_states
        with patched(place, name, value(getattr(place, name))):
            return left_open(second_checker(small_trial(), states))

    return judge


def _second_reader() -> tuple[str, ...]:
    wrong = {**expressions._OPERATIONS, "greater_equal": expressions._OPERATIONS["greater"]}
    with patched(expressions, "_OPERATIONS", wrong):
        return left_open([second_reading(small_trial(), small_document())])


def _cut_short() -> tuple[str, ...]:
    """A search that reached its limit is taken for a whole one."""
    ended = {**exploration._ENDED, Result.TOO_MANY: ""}
    with patched(exploration, "_ENDED", ended):
        return left_open(explore(small_trial(), Limits(nodes=2_000)).findings)


def _overlapping() -> tuple[str, ...]:
    """The table of detect lets two rows hold, and the check of the file does not see it."""
    document = small_document()
    row = next(row for row in document["rows"] if row["id"] == "raise_gain")
    row["unless"] = [name for name in row["unless"] if name != "oscillating"]
    with patched(validate, "table_faults", lambda *_: []):
        trial = trial_from_document(document, "overlapping")
    return left_open(explore(trial).findings)


def _with_a_gap() -> tuple[str, ...]:
    document = small_document()
    document["rows"] = [row for row in document["rows"] if row["id"] != "raise_gain"]
    with patched(validate, "table_faults", lambda *_: []):
        trial = trial_from_document(document, "with a gap")
    return left_open(explore(trial).findings)


def _never_true() -> tuple[str, ...]:
    """A requirement that speaks of what never happens, as a wrong name in it would make it."""
    trial = small_trial()
    first = next(r for r in trial.requirements if r.id == "gain_raised_only_after_quiet")
    formula = parse.parse("in_state(idle) and pulse_request implies gain_rung == 0",
                          requirement=True)  # fmt: skip
    kind = next(r.kind for r in trial.requirements if r.kind.value == "invariant")
    vacuous = replace(first, formula=formula, kind=kind, trigger=None)
    return left_open(Vacuity(replace(trial, requirements=(vacuous,))).findings())


def _never_triggered() -> tuple[str, ...]:
    trial = small_trial()
    first = next(r for r in trial.requirements if r.trigger is not None)
    trigger = parse.parse("in_state(idle) and torque_request", requirement=True)
    vacuous = replace(first, trigger=trigger, within_ticks=2_000_000_000)
    return left_open(Vacuity(replace(trial, requirements=(vacuous,))).findings())


def _one_code_for_two(whole: Callable[..., str]) -> Callable[..., str]:
    """The code of a state leaves one variable out."""

    def encode(trial: Any, coding: encoding.Encoding) -> str:
        text = whole(trial, coding)
        last = text.index("+ ((uint64_t)((int64_t)memory->variables[")
        end = text.index("\n", last)
        return text[:last] + text[end:] if text[last - 1] != "(" else text

    return encode


def _forgets_a_variable(whole: Callable[..., str]) -> Callable[..., str]:
    """Back from the code of a state, one variable has its first value whatever it was."""

    def decode(trial: Any, coding: encoding.Encoding) -> str:
        text, line = whole(trial, coding), "    memory->variables[{}] = "
        number = next(k for k, v in enumerate(trial.variables) if v.name == "gain_rung")
        begin = text.index(line.format(number))
        return text[:begin] + line.format(number) + "0;" + text[text.index("\n", begin) :]

    return decode


def _translated(operator: Operator, text: str) -> Callable[[], tuple[str, ...]]:
    """Return a judge for an operator that is translated to SMT-LIB as another one."""

    def judge() -> tuple[str, ...]:
        step = StepEncoding(small_trial())
        wrong = {**smt_expression._APPLIED, operator: text}
        with patched(smt_expression, "_APPLIED", wrong):
            return left_open([translation_finding(step, StepTerms(step), "z3")])

    return judge


def _plain_step(sound: str, broken: str) -> Callable[[], tuple[str, ...]]:
    """Return a judge for a defect in the second writing of the specification in C."""

    def judge() -> tuple[str, ...]:
        trial = small_trial()
        text = plain_reference.plain_reference(trial).replace(sound, broken)
        with (
            patched(plain_reference, "plain_reference", lambda _: text),
            workspace(sequencer_sources(trial), trial) as folder,
            ThreadPoolExecutor(1) as pool,
        ):
            return left_open(sanitized_runs(pool, Task(folder, trial, 150.0, seed=1))())

    return judge


def _one_answer_for_all() -> tuple[str, ...]:
    """What a tool said of one source is taken for what it says of any: the defects that are
    inserted beside each check get the answer about the sound source."""
    (reset,) = [h for h in model_checking.HARNESSES if h.subject == "reset_as_specified"]
    trial = small_trial()
    with (
        patched(model_checking, "HARNESSES", (reset,)),
        patched(esbmc, "digest_of_run", lambda *_: "5a" * 32),
        workspace(sequencer_sources(trial), trial) as folder,
        ThreadPoolExecutor(1) as pool,
    ):
        return left_open(model_checking.model_checking(pool, Task(folder, trial, 150.0, seed=1))())


IN_TOOL: tuple[InsertedDefect, ...] = (
    InsertedDefect(
        "reader drops the last name of in_state(a, b)", "reader", "language/parse",
        _read_twice(parse, "InState", lambda whole: lambda states, after=False: InState(
            states[:-1] or states, after)),
    ),
    InsertedDefect(
        "reader takes > for >=", "reader", "language/parse",
        _read_twice(parse, "Binary", lambda whole: lambda operator, left, right: whole(
            Operator.GREATER_EQUAL if operator is Operator.GREATER else operator, left, right)),
    ),
    InsertedDefect(
        "second reader takes >= for >", "reader", "second_reader/expressions", _second_reader
    ),
    InsertedDefect(
        "single-hit check sees no overlap", "single-hit check", "language/validate", _overlapping
    ),
    InsertedDefect(
        "single-hit check sees no gap", "single-hit check", "language/validate", _with_a_gap
    ),
    InsertedDefect(
        "reference reads 'and' as 'or'", "reference", "semantics/python_code",
        _reference(conjunction="({} | {})"),
    ),
    InsertedDefect(
        "reference denies nothing", "reference", "semantics/python_code",
        _reference(denial="({} == True)"),
    ),
    InsertedDefect(
        "exporter writes > for >=", "exporter", "trial_c/expression",
        _explored(c_expression, "_TOKENS", lambda whole: {**whole, Operator.GREATER_EQUAL: ">"}),
    ),
    InsertedDefect(
        "the code of a state leaves a variable out", "state encoding", "exploration/model_tables",
        _explored(model_source, "encode_function", _one_code_for_two),
    ),
    InsertedDefect(
        "a variable is lost on the way back from the code of a state", "state encoding",
        "exploration/model_tables", _explored(model_source, "decode_function", _forgets_a_variable),
    ),
    InsertedDefect(
        "inputs tried at the low end of their range only", "input choice", "exploration/vectors",
        _explored(vectors, "thresholds", lambda whole: lambda part: []),
    ),
    InsertedDefect(
        "inputs that behave differently taken for alike", "input choice", "exploration/behaviour",
        _explored(behaviour, "firsts_of_each", lambda whole: lambda columns, count: [0]),
    ),
    *(
        InsertedDefect(
            f"'{operator.value}' translated to {text}", "SMT translation", "induction/expression",
            _translated(operator, text),
        )
        for operator, text in (
            (Operator.GREATER_EQUAL, "bvsgt"),
            (Operator.LESS, "bvsle"),
            (Operator.OR, "xor"),
            (Operator.IMPLIES, "="),
        )
    ),
    InsertedDefect(
        "what is asked of a tick is simplified to nothing", "questions", "exploration/specialise",
        _explored(specialise.Specialiser, "over_tick", lambda whole: lambda *_: TRUE),
    ),
    InsertedDefect(
        "what is asked of a moment is simplified to nothing", "questions", "exploration/specialise",
        _explored(specialise.Specialiser, "at_moment", lambda whole: lambda *_, **__: TRUE),
    ),
    InsertedDefect(
        "second checker reads >= as >", "second checker", "second_checker/promela_expression",
        _second_checker(promela_expression, "_TOKENS",
                        lambda whole: {**whole, Operator.GREATER_EQUAL: ">"}),
    ),
    InsertedDefect(
        "second checker asserts nothing of ticks", "second checker", "second_checker/promela",
        _second_checker(promela._Model, "_tick_lines", lambda whole: lambda *_: []),
    ),
    InsertedDefect(
        "second writing in C reads >= as >", "reference", "c_checks/plain_reference",
        _plain_step(" >= ", " > "),
    ),
    InsertedDefect(
        "second writing in C forgets what a row wants false", "reference",
        "c_checks/plain_reference", _plain_step(" && !", " && "),
    ),
    InsertedDefect(
        "a search that was cut short counts as whole", "limits", "exploration", _cut_short
    ),
    InsertedDefect(
        "an answer about other bytes is taken for one about these", "remembered answers",
        "remembered", _one_answer_for_all,
    ),
    InsertedDefect("a premise that never holds", "vacuity", "a requirement", _never_true),
    InsertedDefect("a trigger that never comes", "vacuity", "a requirement", _never_triggered),
)  # fmt: skip
