"""What is asked about every trial and about its requirements, apart from lengths of time."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from gainwright.language.expression import Expression, references
from gainwright.language.model import (
    Kind,
    Requirement,
    RequirementKind,
    Row,
    Signal,
    State,
    Trial,
    Variable,
)
from gainwright.language.sentence import sentence, words
from gainwright_proof.induction.expression import Exactness, exactness
from gainwright_proof.induction.induction import Facts
from gainwright_proof.induction.question import Question
from gainwright_proof.induction.script import Statement
from gainwright_proof.induction.step import StepEncoding, after_tick, may_overlap, sort
from gainwright_proof.induction.text import (
    bit_vector,
    conjunction,
    disjunction,
    implication,
    negation,
)


def single_hit(step: StepEncoding, state: State) -> tuple[Question, ...]:
    """Ask that some row of the state holds, and that no two do (ISO 5806: single-hit table)."""
    rows = step.trial.rows_by_state[state.name]
    here = Statement(f"The state is {words(state.name)}.", step.in_state(state.name))
    gap = Question(
        f"single_hit/{state.name}/some_row",
        (f"In the state {words(state.name)}, some row holds for all variables and inputs.",),
        Statement("some row holds.", disjunction(map(step.row, rows))),
        (here,),
    )
    pairs = [pair for pair in itertools.combinations(rows, 2) if may_overlap(*pair)]
    if not pairs:
        return (gap,)
    overlap = Question(
        f"single_hit/{state.name}/one_row",
        (
            f"In the state {words(state.name)}, no two rows hold together. Pairs that require the "
            "same condition true and false are left out.",
        ),
        Statement(
            "no two rows hold.",
            conjunction(
                negation(conjunction([step.row(first), step.row(second)]))
                for first, second in pairs
            ),
        ),
        (here,),
    )
    return gap, overlap


def no_overflow(step: StepEncoding) -> Iterator[Question]:
    """Ask that every intermediate value fits 32 bits signed."""
    trial = step.trial
    actions = [e for row in trial.rows for e in row.actions.values()]
    outputs = [output.default for output in trial.outputs if output.default is not None]
    outputs += [e for state in trial.states for e in state.outputs.values()]
    demands = [r.formula for r in trial.requirements]
    demands += [r.trigger for r in trial.requirements if r.trigger is not None]
    parts: list[tuple[str, Sequence[Expression], bool]] = [
        ("conditions", [c.expression for c in trial.conditions], False),
        ("actions", actions, False),
        ("outputs", outputs, False),
        ("requirements", demands, True),
    ]
    for title, expressions, over_tick in parts:
        found: dict[str, Exactness] = {}
        for expression in expressions:
            for part, formula in exactness(expression, step):
                found.setdefault(formula, (part, formula))
        if found:
            yield Question(
                f"no_overflow/{title}",
                (f"Every value computed in the {title} is exact in 32 bits signed.",),
                Statement("every value is exact.", conjunction(found)),
                over_tick=over_tick,
            )


def ranges(step: StepEncoding) -> Iterator[Question]:
    """Ask that variables and outputs stay in their declared ranges."""
    integers = [v for v in step.trial.variables if v.kind is Kind.INTEGER]
    if integers:
        yield Question(
            "ranges/after_power_on",
            ("Variables start inside their declared ranges.",),
            Statement(
                "all variables are in range.",
                conjunction(_between(v, step.initial(v.name)) for v in integers),
            ),
        )
        yield Question(
            "ranges/kept",
            ("Variables inside their declared ranges are so after every tick.",),
            Statement(
                "all variables are in range after the tick.",
                conjunction(_between(v, step.value(v.name, True)) for v in integers),
            ),
            over_tick=True,
        )
    outputs = [o for o in step.trial.outputs if o.kind is Kind.INTEGER]
    if outputs:
        yield Question(
            "ranges/outputs",
            ("Outputs are inside their declared ranges.",),
            Statement(
                "all outputs are in range.",
                conjunction(_between(o, step.value(o.name, False)) for o in outputs),
            ),
        )


def _between(signal: Signal, term: str) -> str:
    assert sort(signal) != "Bool"
    low, high = bit_vector(signal.low), bit_vector(signal.high)
    return f"(and (bvsle {low} {term}) (bvsle {term} {high}))"


def initiation(step: StepEncoding, facts: Facts) -> Question | None:
    """Ask that the facts about the first state hold after power-on; None if there are none."""
    trial = step.trial
    about_first = facts.get(trial.initial_state, ())
    if not about_first:
        return None
    return Question(
        "facts/after_power_on",
        ("Facts used in later obligations hold after power-on (initiation).",),
        Statement(
            " ".join(map(sentence, about_first)), conjunction(map(step.formula, about_first))
        ),
        (after_power_on(step),),
    )


def after_power_on(step: StepEncoding) -> Statement:
    """Return that the moment before the tick is the one after power-on."""
    equations = [step.in_state(step.trial.initial_state)]
    equations += [
        f"(= {step.value(v.name, False)} {step.literal(v, v.initial)})"
        for v in step.trial.variables
    ]
    return Statement("The moment after power-on.", conjunction(equations))


def consecution(step: StepEncoding, facts: Facts) -> Iterator[tuple[Question, Facts]]:
    """Ask that every tick keeps the facts, state by state; with the facts that it may rest on."""
    for state, about in facts.items():
        if not about:
            continue
        sources = dict.fromkeys(row.source for row in step.trial.rows if row.target == state)
        arrived = step.in_state(state, after=True)
        question = Question(
            f"facts/{state}",
            (
                f"Facts about the state {words(state)} hold after every tick that leads there or "
                "stays there, if the facts held before (consecution).",
                *map(sentence, about),
            ),
            Statement(
                "the facts hold after the tick.",
                implication(arrived, conjunction(after_tick(step, fact) for fact in about)),
            ),
            over_tick=True,
        )
        yield question, {source: facts[source] for source in sources if facts.get(source)}


def requirement_heading(requirement: Requirement, trial: Trial) -> tuple[str, ...]:
    """Return what the reader of an obligation has to know about its requirement."""
    hazards = (h for h in trial.hazards if h.id == requirement.hazard)
    consequences = (f"Hazard {hazard.id}: {hazard.consequence}." for hazard in hazards)
    return (f"Requirement {requirement.id}: {requirement.sentence}", *consequences)


def requirement_question(step: StepEncoding, requirement: Requirement) -> Question | None:
    """Return the single question that decides a requirement over a moment or one tick.

    None for those that need more than one tick: responses later than at once, bounded lengths,
    reachability.
    """
    heading = requirement_heading(requirement, step.trial)
    name = f"requirement/{requirement.id}"
    claim = Statement(requirement.sentence, step.formula(requirement.formula))
    match requirement.kind:
        case RequirementKind.INITIAL:
            return Question(name, heading, claim, (after_power_on(step),))
        case RequirementKind.INVARIANT:
            return Question(name, heading, claim)
        case RequirementKind.STEP:
            return Question(name, heading, claim, over_tick=True)
        case RequirementKind.RESPONSE if not requirement.is_timed:
            assert requirement.trigger is not None
            trigger = Statement("The trigger.", step.formula(requirement.trigger))
            at_once = Statement(requirement.sentence, after_tick(step, requirement.formula))
            return Question(name, heading, at_once, (trigger,), over_tick=True)
    return None


def never_true(step: StepEncoding, requirement: Requirement) -> Question:
    """Ask whether what should be reachable is impossible at every moment."""
    return Question(
        f"impossible/{requirement.id}",
        (
            f"Requirement {requirement.id} demands that something is reachable: "
            f"{requirement.sentence} Claimed is that it is not.",
        ),
        Statement("it is never so.", negation(step.formula(requirement.formula))),
    )


def never_taken(step: StepEncoding, row: Row) -> Question:
    """Ask whether a row can be taken at no moment."""
    return Question(
        f"impossible/row/{row.id.replace('@', '/')}",
        (f"The row {row.id} is never taken.",),
        Statement("the row does not hold.", negation(step.row(row))),
    )


def within_its_range(step: StepEncoding, row: Row, variable: Variable) -> Question:
    """Ask whether an assignment never has to be stopped at the range of its variable."""
    value = step.formula(row.actions[variable.name])
    return Question(
        f"assignments/{row.id.replace('@', '/')}/{variable.name}",
        (
            f"The row {row.id} gives {variable.name} a value inside its range, so that the range "
            "never cuts it.",
        ),
        Statement("the value is in range.", _between(variable, value)),
        (Statement(f"The row {row.id} holds.", step.row(row)),),
    )


def computed_assignments(trial: Trial) -> Iterator[tuple[Row, Variable]]:
    """Yield the assignments whose value is not a literal."""
    for row in trial.rows:
        for variable in trial.variables:
            value = row.actions.get(variable.name)
            if variable.kind is Kind.INTEGER and value is not None and references(value):
                yield row, variable
