"""Obligations of a ranking argument: the rank is small at first, and every tick lowers it.

With rank at most N at the start, at least 1 wherever the goal is not reached and lower after every
tick, the goal is reached within N ticks, whatever the inputs do. In a state where the goal is never
reached it is not spoken of: so more is shown, and deadlines whose goals differ in other states ask
the same.
"""

from __future__ import annotations

from collections.abc import Iterator

from gainwright.language.expression import Boolean
from gainwright.language.model import Row
from gainwright.language.sentence import words
from gainwright_proof.induction.deadline import Deadline
from gainwright_proof.induction.expression import translate
from gainwright_proof.induction.question import Question
from gainwright_proof.induction.rank_search import Ranking
from gainwright_proof.induction.script import Definition, Statement, function
from gainwright_proof.induction.specialise import specialised
from gainwright_proof.induction.step import StepEncoding, after_tick, at_moment
from gainwright_proof.induction.text import (
    INTEGER_SORT,
    bit_vector,
    conjunction,
    disjunction,
    negation,
)


def rank_questions(
    step: StepEncoding, deadline: Deadline, ranking: Ranking, heading: tuple[str, ...]
) -> Iterator[Question]:
    """Yield the questions that together prove the deadline with its greatest rank."""
    yield _start(step, deadline, ranking, heading)
    for state in ranking.course.states:
        yield _positive(step, deadline, ranking, state, heading)
        for row in step.trial.rows_by_state[state]:
            yield _falls(step, deadline, ranking, row, heading)


def _start(
    step: StepEncoding, deadline: Deadline, ranking: Ranking, heading: tuple[str, ...]
) -> Question:
    trigger = Statement("The trigger.", step.formula(deadline.trigger))
    over_tick = deadline.trigger_over_tick
    goal = after_tick(step, deadline.goal) if over_tick else step.formula(deadline.goal)
    reached = [goal]
    if ranking.course.states:
        low = f"(bvsle {_rank(step, over_tick)} {bit_vector(ranking.greatest)})"
        reached.append(conjunction([_on_course(step, ranking, over_tick), low]))
    when = "after the tick that triggers" if over_tick else "when it triggers"
    return Question(
        f"{deadline.obligations}/start",
        (*heading, f"The goal is reached, or the rank is at most {ranking.greatest}, {when}."),
        Statement(
            f"the goal is reached or the rank is at most {ranking.greatest}.", disjunction(reached)
        ),
        (trigger,),
        over_tick=over_tick,
        afresh=True,
        definitions=(_rank_definition(step, ranking, after=over_tick),),
    )


def _positive(
    step: StepEncoding, deadline: Deadline, ranking: Ranking, state: str, heading: tuple[str, ...]
) -> Question:
    return Question(
        f"{deadline.obligations}/positive/{state}",
        (*heading, f"In the state {words(state)}, the goal is reached or the rank is at least 1."),
        Statement("the rank is at least 1.", f"(bvsge {_rank(step, False)} {bit_vector(1)})"),
        (
            Statement(f"The state is {words(state)}.", step.in_state(state)),
            *_not_reached(step, deadline, state),
        ),
        afresh=True,
        definitions=(_state_rank(step, ranking, state, after=False),),
    )


def _falls(
    step: StepEncoding, deadline: Deadline, ranking: Ranking, row: Row, heading: tuple[str, ...]
) -> Question:
    reached = [] if _never(step, deadline, row.target) else [after_tick(step, deadline.goal)]
    definitions: tuple[Definition, ...] = ()
    if row.target in ranking.course.states:
        reached.append(f"(bvslt {_rank(step, True)} {_rank(step, False)})")
        definitions = (
            _state_rank(step, ranking, row.source, after=False),
            _state_rank(step, ranking, row.target, after=True),
        )
    return Question(
        f"{deadline.obligations}/falls/{row.id.replace('@', '/')}",
        (
            *heading,
            f"A tick from the state {words(row.source)} by the row {row.id} reaches the goal or "
            "lowers the rank. (Every tick takes exactly one row: single_hit/...; there is such an "
            "obligation for each row of each state on the way.)",
        ),
        Statement("the goal is reached or the rank is lower.", disjunction(reached)),
        _not_reached(step, deadline, row.source),
        row=row,
        afresh=True,
        definitions=definitions,
    )


def _not_reached(step: StepEncoding, deadline: Deadline, state: str) -> tuple[Statement, ...]:
    """Return what is assumed in a state; nothing where the goal is never reached."""
    if _never(step, deadline, state):
        return ()
    return (Statement("The goal is not reached yet.", negation(step.formula(deadline.goal))),)


def _never(step: StepEncoding, deadline: Deadline, state: str) -> bool:
    """Return whether the goal is false in a state, whatever the variables."""
    return specialised(deadline.goal, state, step.trial) == Boolean(False)


def _state_rank(step: StepEncoding, ranking: Ranking, state: str, after: bool) -> Definition:
    """Return the rank at a moment of which the state is known."""
    rank = ranking.ranks[state]
    body = translate(rank.expression, at_moment(step, after))
    comment = f"Rank (bound of the ticks left) in {words(state)}: {rank}."
    return function(_rank(step, after), INTEGER_SORT, body, comment)


def _rank(step: StepEncoding, after: bool) -> str:
    return f"{step.frame.after if after else step.frame.before}.rank"


def _on_course(step: StepEncoding, ranking: Ranking, after: bool) -> str:
    return disjunction(step.in_state(state, after) for state in ranking.course.states)


def _rank_definition(step: StepEncoding, ranking: Ranking, after: bool) -> Definition:
    """Return the rank at a moment as a function of the state; 0 in states off the course."""
    moment = at_moment(step, after)
    body = bit_vector(0)
    for state in reversed(ranking.course.states):
        value = translate(ranking.ranks[state].expression, moment)
        body = f"(ite {step.in_state(state, after)} {value} {body})"
    lines = [f"in {words(state)}: {rank}" for state, rank in ranking.ranks.items()]
    comment = "Rank (bound of the ticks left): " + "; ".join(lines) + "."
    return function(_rank(step, after), INTEGER_SORT, body, comment)
