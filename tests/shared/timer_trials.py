"""Random small trials with two timers, a counter and conditions on them, from a plain seed."""

from __future__ import annotations

import random
from dataclasses import replace

from gainwright.language.expression import Binary, Boolean, Expression, Integer, Operator, Reference
from gainwright.language.model import (
    Condition,
    Kind,
    Requirement,
    RequirementKind,
    Row,
    Trial,
    Variable,
)
from gainwright.language.parse import parse

from .explore_trials import STATES, random_trial

TIMERS = (
    Variable("early", Kind.INTEGER, 0, 40, "", "", 0),
    Variable("late", Kind.INTEGER, -3, 29, "", "", 2),
)
_COUNT = Variable("rounds", Kind.INTEGER, 0, 3, "", "", 0)
_CONSTANTS = (("early", (0, 15, 36)), ("late", (2, 25)))
"""Few, so that there are long stretches between them."""
_COMPARISONS = (Operator.LESS, Operator.GREATER_EQUAL, Operator.EQUAL, Operator.GREATER)


def _advanced(source: random.Random, timer: Variable, patience: float) -> Expression | None:
    draw = source.random()
    raised = Binary(Operator.ADD, Reference(timer.name), Integer(1))
    if draw < patience:
        return raised
    if draw < patience + 0.05:
        return Binary(Operator.MINIMUM, raised, Integer(timer.high - 4))
    if draw < patience + 0.15:
        return Integer(source.choice((timer.low, timer.initial)))
    return None


def _rows(source: random.Random, conditions: list[str]) -> list[Row]:
    """Two rows of a state on each condition it looks at, so that exactly one holds."""
    rows = []
    for state in STATES:
        first, second = source.sample(conditions, 2)
        for number, (when, unless) in enumerate(
            [((first,), ()), ((second,), (first,)), ((), (first, second))]
        ):
            stays = source.random() < 0.6
            patience = 0.8 if stays else 0.2
            actions = {
                timer.name: value
                for timer in TIMERS
                if (value := _advanced(source, timer, patience)) is not None
            }
            if source.random() < (0.3 if stays else 0.5):
                actions["rounds"] = parse(source.choice(("rounds + 1", "0", "if go then 1 else 2")))
            target = state if stays else source.choice(STATES)
            rows.append(Row(f"{state}{number}", state, when, unless, target, actions, ""))
    return rows


def _formula(source: random.Random) -> Expression:
    if source.random() < 0.3:
        return Reference(source.choice(("go", "halt")))
    if source.random() < 0.3:
        count = Integer(source.randint(0, 3))
        return Binary(source.choice(_COMPARISONS), Reference("rounds"), count)
    name, numbers = source.choice(_CONSTANTS)
    return Binary(source.choice(_COMPARISONS), Reference(name), Integer(source.choice(numbers)))


def _moment(source: random.Random) -> Expression:
    while (formula := _formula(source)) and formula in (Reference("go"), Reference("halt")):
        pass
    return formula


def _requirements(source: random.Random) -> list[Requirement]:
    def made(name: str, kind: RequirementKind, formula: Expression,
             trigger: Expression | None = None) -> Requirement:  # fmt: skip
        within = source.randint(5, 60) if trigger is not None else 0
        return Requirement(name, "", "", kind, formula, trigger, within, "")

    found = []
    for k in range(4):
        implied = Binary(Operator.IMPLIES, _moment(source), _moment(source))
        over = Binary(
            Operator.IMPLIES,
            Binary(Operator.AND, _formula(source), _formula(source)),
            parse(source.choice((
                "next(early) == early + 1", "next(late) > 2", "next(rounds) <= rounds",
                "next(early) < 15", "next(in_state(one)) or in_state(three)",
            )), requirement=True),
        )  # fmt: skip
        found += [
            made(f"invariant{k}", RequirementKind.INVARIANT, implied),
            made(f"step{k}", RequirementKind.STEP, over),
            made(f"reach{k}", RequirementKind.REACHABLE, _moment(source)),
            made(f"bounded{k}", RequirementKind.BOUNDED, _moment(source), _moment(source)),
            made(f"response{k}", RequirementKind.RESPONSE, _moment(source), _formula(source)),
        ]
    return found


def timer_trial(seed: int) -> Trial:
    """Return a trial of some thousand states in which time passes, often with nothing else."""
    source = random.Random(seed)
    conditions = [Condition(f"c{k}", _formula(source), "") for k in range(6)]
    frame = random_trial(0)
    return replace(
        frame,
        name=f"timers{seed}",
        variables=(*TIMERS, _COUNT),
        outputs=(replace(frame.outputs[0], default=Boolean(False)),),
        conditions=tuple(conditions),
        states=tuple(replace(s, end=s.name == "three", outputs={"alarm": _moment(source)})
                     for s in frame.states),
        rows=tuple(_rows(source, [c.name for c in conditions])),
        requirements=tuple(_requirements(source)),
        digest=f"{seed + 7_000_000:064x}",
    )  # fmt: skip
