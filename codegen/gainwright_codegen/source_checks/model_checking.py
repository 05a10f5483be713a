"""One step of each exported function under the bounded model checker."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass

from gainwright.proof.c_source.types import Program
from gainwright.proof.verdict import Finding, Verdict, worst
from gainwright.spec.model import Trial
from gainwright_codegen.source_checks import esbmc
from gainwright_codegen.source_checks.plants import AXIS_PLANTS, STEP_PLANTS, Plant
from gainwright_codegen.source_checks.report import Outcome, Task, Wait, finding, not_run
from gainwright_codegen.source_checks.workspace import preprocessed

_COMMON = ("any_esbmc.c",)
_STEP_FILES = (*_COMMON, "check_step.c", "gw_sequencer.c", "gw_trial.c")
_PART_FILES = (*_COMMON, "check_axis.c", "any_structs.c", "gw_machine.c")
# One filter section multiplies more than a solver takes four of: each is checked by itself, and
# here stands for anything that it was shown to do. So does the sequencer.
_AXIS_FILES = (*_PART_FILES, "any_detector.c", "any_sequencer.c", "gw_axis.c", "gw_trial.c")


@dataclass(frozen=True, slots=True)
class _Harness:
    subject: str
    function: str
    files: tuple[str, ...]
    claim: str
    needs_machine: bool = True


_HARNESSES = (
    _Harness(
        "gw_sequencer_step",
        "gw_check_step_any_memory",
        _STEP_FILES,
        "one step and its outputs, from any content of memory and any inputs",
        needs_machine=False,
    ),
    _Harness(
        "gw_biquad_step",
        "gw_check_biquad",
        _PART_FILES,
        "one sample of every filter section with the exported coefficients, from any promised "
        "state, and back into it",
    ),
    _Harness(
        "gw_axis_control_tick",
        "gw_check_control_tick",
        _AXIS_FILES,
        "one control tick (detector and pulse) with the exported tables, from any promised state "
        "and back into it",
    ),
    _Harness(
        "gw_pulse_sample",
        "gw_check_pulse_sample",
        _PART_FILES,
        "one sample of every exported pulse from any promised state and back into it",
    ),
    _Harness(
        "gw_axis_sequencer_tick",
        "gw_check_sequencer_tick",
        _AXIS_FILES,
        "one sequencer tick, whatever the table gives, from any promised state and back into it",
    ),
    _Harness(
        "gw_axis_gain",
        "gw_check_gain",
        _AXIS_FILES,
        "the gain of every stage from any outputs",
    ),
)


def model_checking(pool: Executor, task: Task) -> Wait:
    """Start all harnesses; see :class:`gainwright_codegen.source_checks.report.Method`."""
    wanted = [h for h in _HARNESSES if task.workspace.has_machine or not h.needs_machine]
    if esbmc.executable() is None:
        reason = f"the package {esbmc.PACKAGE} is not installed: pip install 'gainwright[proof]'"
        return lambda: [not_run(h.subject, "bounded model checking", reason) for h in wanted]
    waits = [_start(pool, task, harness) for harness in wanted]
    return lambda: [wait() for wait in waits]


def _start(pool: Executor, task: Task, harness: _Harness) -> Callable[[], Finding]:
    plants = [p for p in (*STEP_PLANTS, *AXIS_PLANTS) if p.reached_by == harness.function]
    sound = [
        pool.submit(_check, task, harness, defines) for defines in _variants(task, harness.function)
    ]
    planted = [pool.submit(_check_planted, task, harness, plant) for plant in plants]

    def wait() -> Finding:
        return finding(
            harness.subject,
            f"bounded model checking of one step ({esbmc.version()})",
            harness.claim,
            _together(sound),
            zip(plants, (future.result() for future in planted), strict=True),
        )

    return wait


def _check(task: Task, harness: _Harness, defines: Sequence[str]) -> esbmc.Answer:
    return esbmc.check(
        task.workspace.folder,
        harness.files,
        harness.function,
        longest_loop(task.trial) + 1,
        task.limit_s,
        defines,
    )


def _check_planted(task: Task, harness: _Harness, plant: Plant) -> str | None:
    try:
        folder = task.workspace.planted((plant,))
    except LookupError as error:
        return str(error)
    unwind = longest_loop(task.trial) + 1
    answer = esbmc.check(folder, harness.files, harness.function, unwind, task.limit_s)
    return None if answer.verdict is Verdict.REFUTED else answer.detail


def _together(futures: Sequence[Future[esbmc.Answer]]) -> Outcome:
    answers = [future.result() for future in futures]
    verdict = worst(answer.verdict for answer in answers)
    details = {a.detail: None for a in answers if a.verdict is verdict is not Verdict.PROVED}
    properties = sum(answer.properties for answer in answers)
    detail = "; ".join(details) or f"{properties} properties hold"
    return Outcome(verdict, detail, {"properties": properties})


def longest_loop(trial: Trial) -> int:
    """Return the rounds of the longest loop in step and axis; the detector's loops are shorter."""
    rows = Counter(row.source for row in trial.rows)
    sizes = (len(trial.inputs), len(trial.outputs), len(trial.variables), *rows.values())
    return max(sizes)


def _variants(task: Task, function: str) -> list[tuple[str, ...]]:
    """Each different filter section needs a run of its own."""
    if function != "gw_check_biquad":
        return [()]
    tables = Program.parse(preprocessed(task.workspace.folder, '#include "gw_machine.c"\n'))
    seen: dict[tuple[int, ...], tuple[str, ...]] = {}
    stages = tables.objects["gw_stage_detector"].init.exprs
    for stage, settings in enumerate(stages):
        for number, section in enumerate(settings.exprs[0].exprs):
            words = tuple(tables.constant(word) for word in section.exprs)
            place = (f"GW_CHECK_STAGE={stage}", f"GW_CHECK_SECTION={number}")
            seen.setdefault(words, place)
    return list(seen.values())
