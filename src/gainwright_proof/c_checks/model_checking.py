"""One step of each exported function under the bounded model checker."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path

from gainwright.language.model import Trial
from gainwright_proof.c_checks import esbmc, plain_reference
from gainwright_proof.c_checks.defects import STEP_DEFECTS, Defect
from gainwright_proof.c_checks.report import (
    SUBJECT,
    Outcome,
    Task,
    Wait,
    all_noticed,
    finding,
    not_run,
)
from gainwright_proof.exploration.subjects import AS_SPECIFIED, SPECIFIED_TWICE
from gainwright_proof.methods import MODEL_CHECKING
from gainwright_proof.verdict import Finding, Verdict, worst

# Multiplications of unknowns are more than a solver takes together. So each harness shows one
# thing, and in the next one any value within what was shown stands for it (files any_*.c).
_COMMON = ("any_esbmc.c",)
_SPECIFIED_FILES = (
    *_COMMON,
    "check_step.c",
    "gw_sequencer.c",
    "gw_trial.c",
    "check_specified.c",
    plain_reference.FILE,
)
_TABLE_FILES = (*_COMMON, "check_axis.c", "any_structs.c", "gw_machine.c")
_HIGHPASS_FILES = (*_COMMON, "check_highpass.c")
_DETECTOR_FILES = (*_COMMON, "any_detector.c", "any_structs.c", "gw_machine.c")
_EVIDENCE_FILES = (*_COMMON, "check_evidence.c", "any_structs.c", "gw_evidence.c")
_AXIS_FILES = (
    *_TABLE_FILES,
    "any_control.c",
    "any_sequencer.c",
    "gw_axis.c",
    "gw_detector.c",
    "any_evidence.c",
    "gw_trial.c",
)


@dataclass(frozen=True, slots=True)
class Harness:
    subject: str
    function: str
    files: tuple[str, ...]
    claim: str
    needs_machine: bool = True
    options: tuple[str, ...] = esbmc.UNDEFINED
    per_state: bool = False
    """A run for each state of the trial."""


HARNESSES = (
    Harness(
        "step_as_specified",
        "gw_check_specified_step",
        _SPECIFIED_FILES,
        "row, new memory, what is limited, and the outputs before and after are those of the "
        "specification, written in C a second time by other code, and nothing undefined happens, "
        "for every 32-bit value of every input, in every state with all values of the variables",
        needs_machine=False,
        per_state=True,
    ),
    Harness(
        "refusal_as_specified",
        "gw_check_specified_refusal",
        _SPECIFIED_FILES,
        "with memory outside its ranges, whatever stands there, a step changes nothing and says "
        "so, the outputs ask for nothing, and nothing undefined happens",
        needs_machine=False,
        # No state's own text is read, and half of the time is reading.
        options=(*esbmc.UNDEFINED, "-D", "GW_CHECK_STATE=-1"),
    ),
    Harness(
        "reset_as_specified",
        "gw_check_specified_reset",
        _SPECIFIED_FILES,
        "reset gives the initial moment and its outputs, and every name has its own position",
        needs_machine=False,
    ),
    Harness(
        "gw_axis_control_tick",
        "gw_check_control_tick",
        _AXIS_FILES,
        "one control tick (detector and pulse) with the exported settings, from any promised state "
        "and with any signals",
    ),
    Harness(
        "gw_axis_sequencer_tick",
        "gw_check_sequencer_tick",
        _AXIS_FILES,
        "one sequencer tick, whatever the table gives, from any promised state and back into it",
    ),
    Harness(
        "gw_product_i64",
        "gw_check_products",
        _TABLE_FILES,
        "every exported filter coefficient times any signal",
        options=esbmc.ONE_BY_ONE,
    ),
    Harness(
        "gw_highpass_step",
        "gw_check_highpass",
        _HIGHPASS_FILES,
        "one sample of a filter section with any such products, from any promised state and back "
        "into it",
    ),
    Harness(
        "gw_detector/filter",
        "gw_check_filter",
        _DETECTOR_FILES,
        "two such sections and the headroom shift, from any promised state",
        options=esbmc.ONE_BY_ONE,
    ),
    Harness(
        "gw_detector/add_square",
        "gw_check_block",
        _DETECTOR_FILES,
        "one square more in a block of any allowed length, a level with any allowed settings, from "
        "any promised state and back into it",
        options=esbmc.ONE_BY_ONE,
    ),
    Harness(
        "gw_evidence/change",
        "gw_check_evidence_change",
        _EVIDENCE_FILES,
        "one block more, a new gain, something else to hear, from any content of memory",
    ),
    Harness(
        "gw_evidence/findings",
        "gw_check_evidence_findings",
        _EVIDENCE_FILES,
        "findings from any content of memory stand in the range of inputs",
    ),
    Harness(
        "gw_pulse_sample",
        "gw_check_pulse_sample",
        _TABLE_FILES,
        "one sample of every exported pulse from any promised state and back into it",
    ),
    Harness(
        "gw_axis_gain",
        "gw_check_gain",
        _AXIS_FILES,
        "the gain of every stage from any outputs",
    ),
)


def model_checking(pool: Executor, task: Task) -> Wait:
    """Start all harnesses; see :class:`gainwright_proof.c_checks.report.Method`."""
    wanted = [h for h in HARNESSES if task.workspace.has_machine or not h.needs_machine]
    if esbmc.executable() is None:
        reason = f"the package {esbmc.PACKAGE} is not installed: pip install 'gainwright[proof]'"
        return lambda: [not_run(h.subject, "bounded model checking", reason) for h in wanted]
    defects = (*STEP_DEFECTS, *task.workspace.machine_defects)
    waits = [_start(pool, task, harness, defects) for harness in wanted]

    def wait() -> list[Finding]:
        findings = [wait() for wait in waits]
        return [*findings, *together(findings, alone=not task.workspace.has_machine)]

    return wait


def together(findings: Sequence[Finding], alone: bool) -> Iterator[Finding]:
    """Yield what follows where step, outputs and reset are proved: the exported code is the
    specification from every memory, reachable or not, and, where the sequencer is checked
    ``alone``, nothing in it is undefined."""
    proved = {f.subject for f in findings if f.verdict is Verdict.PROVED}
    if not proved.issuperset(SPECIFIED_TWICE):
        return
    method = next(f.method for f in findings if f.subject in SPECIFIED_TWICE)
    parts = ", ".join(SPECIFIED_TWICE)
    text = f"It follows from {parts}: step, outputs and reset, from any memory, for any inputs."
    yield Finding(AS_SPECIFIED, method, Verdict.PROVED, text)
    if alone:
        yield Finding(f"{SUBJECT}/gw_sequencer", method, Verdict.PROVED, text)


def restated(stated: Finding) -> Iterator[Finding]:
    """Yield what is written where a finding about the sequencer is proved, but for digests."""
    steps = [Finding(name, stated.method, Verdict.PROVED, "") for name in SPECIFIED_TWICE]
    yield from (f for f in together(steps, alone=True) if f.subject == stated.subject)
    for harness in HARNESSES:
        if f"{SUBJECT}/{harness.subject}" == stated.subject and not harness.needs_machine:
            properties = stated.figures.get("properties", 0)
            yield finding(
                harness.subject,
                stated.method,
                harness.claim,
                _proved(properties),
                all_noticed(d for d in STEP_DEFECTS if d.reached_by == harness.function),
            )


def _start(
    pool: Executor, task: Task, harness: Harness, defects: Sequence[Defect]
) -> Callable[[], Finding]:
    defects = [defect for defect in defects if defect.reached_by == harness.function]
    sound = [
        pool.submit(_check, task, harness, task.workspace.folder, options)
        for options in _runs(task, harness)
    ]
    inserted = [pool.submit(_check_with_defect, task, harness, defect) for defect in defects]

    def wait() -> Finding:
        return finding(
            harness.subject,
            f"{MODEL_CHECKING} ({esbmc.version()})",
            harness.claim,
            _outcome([future.result() for future in sound]),
            zip(defects, (future.result() for future in inserted), strict=True),
        )

    return wait


def _runs(task: Task, harness: Harness) -> list[tuple[str, ...]]:
    """Return the options of each run that a harness takes."""
    if not harness.per_state:
        return [harness.options]
    states = range(len(task.trial.states))
    return [(*harness.options, "-D", f"GW_CHECK_STATE={state}") for state in states]


def _check(task: Task, harness: Harness, folder: Path, options: Sequence[str]) -> esbmc.Answer:
    unwind = longest_loop(task.trial) + 1
    return esbmc.check(folder, harness.files, harness.function, unwind, task.limit_s, options)


def _check_with_defect(task: Task, harness: Harness, defect: Defect) -> str | None:
    """Return why a defect was missed; None as soon as one run notices it."""
    try:
        folder = task.workspace.with_defects((defect,))
    except LookupError as error:
        return str(error)
    detail = ""
    runs = _runs(task, harness)
    # The first state waits for a start and reads least: what is wrong shows sooner in others.
    for options in (*runs[1:], *runs[:1]):
        answer = _check(task, harness, folder, options)
        if answer.verdict is Verdict.REFUTED:
            return None
        detail = answer.detail
    return detail


def _outcome(answers: Sequence[esbmc.Answer]) -> Outcome:
    properties = sum(answer.properties for answer in answers)
    verdict = worst(answer.verdict for answer in answers)
    runs = tuple(answer.run for answer in answers)
    if verdict is Verdict.PROVED:
        return _proved(properties, runs)
    details = [answer.detail for answer in answers if answer.verdict is verdict]
    return Outcome(verdict, details[0], {"properties": properties}, runs)


def _proved(properties: int, runs: tuple[str, ...] = ()) -> Outcome:
    detail = f"{properties} properties hold"
    return Outcome(Verdict.PROVED, detail, {"properties": properties}, runs)


def longest_loop(trial: Trial) -> int:
    """Return the rounds of the longest loop in step and axis; the detector's loops are shorter."""
    rows = Counter(row.source for row in trial.rows)
    signals = (trial.inputs, trial.outputs, trial.variables, trial.stages)
    return max(*(len(group) for group in signals), *rows.values())
