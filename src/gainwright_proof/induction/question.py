"""Questions put to solvers: search with z3 for the facts they rest on, then a script for all.

A question is about a moment, or about a tick from a moment; what it assumes beside its own
assumptions are facts about the state of that moment.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field

import z3

from gainwright.language.expression import Expression, references
from gainwright.language.model import Row
from gainwright.language.sentence import sentence, words
from gainwright.semantics.evaluate import evaluate
from gainwright_proof.induction.effort import Budget
from gainwright_proof.induction.fresh_solvers import FreshSolvers
from gainwright_proof.induction.induction import Facts
from gainwright_proof.induction.script import Definition, Statement, script
from gainwright_proof.induction.step import StepEncoding
from gainwright_proof.induction.switchboard import Switchboard
from gainwright_proof.induction.terms import StepTerms, number
from gainwright_proof.induction.text import implication, symbols_in
from gainwright_proof.verdict import Obligation


@dataclass(frozen=True, slots=True)
class Question:
    """Does the claim follow from the assumptions, whatever the moment and the inputs?"""

    name: str
    """Name of the obligation."""
    heading: tuple[str, ...]
    """Paragraphs for the reader."""
    claim: Statement
    assumptions: tuple[Statement, ...] = ()
    over_tick: bool = False
    """True if it is about a tick, which takes exactly one row."""
    row: Row | None = None
    """The row that the tick takes, where the question is about one row only."""
    afresh: bool = False
    """True if it multiplies: solvers are quick with it only when they simplify it as a whole."""
    definitions: tuple[Definition, ...] = ()
    """What it uses beside the definitions of the step."""

    @property
    def asked(self) -> Hashable:
        """What a solver is asked, without what is for the reader only."""
        assumed = tuple(statement.formula for statement in self.assumptions)
        defined = tuple(map(str, self.definitions))
        row = self.row and self.row.id
        return self.claim.formula, assumed, defined, self.over_tick, row


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment, and inputs of the tick after it, at which a claim fails.

    It satisfies the facts found, but need not be reachable.
    """

    state: str
    variables: dict[str, int]
    inputs: dict[str, int] = field(default_factory=dict)


def fact_statement(step: StepEncoding, state: str, fact: Expression) -> Statement:
    """Return a fact about the moment before the tick as an assumption."""
    return Statement(
        f"Fact about {words(state)}: {sentence(fact)}",
        implication(step.in_state(state), step.formula(fact)),
    )


def obligation(step: StepEncoding, question: Question, facts: Facts) -> Obligation:
    """Return the script of a question that may rest on the given facts."""
    assumptions = list(question.assumptions)
    if question.row is not None:
        taken = Statement(f"The tick takes the row {question.row.id}.", step.row(question.row))
        assumptions.insert(0, taken)
    elif question.over_tick:
        assumptions.insert(0, Statement("The tick takes exactly one row.", step.one_row))
    for state, known in facts.items():
        assumptions += [fact_statement(step, state, fact) for fact in known]
    tick = step.tick if question.row is None else step.row_tick(question.row)
    definitions = [*step.shared, *step.moment(after=False), *tick, *question.definitions]
    heading = [f"Trial {step.trial.name}, obligation {question.name}.", *question.heading]
    heading.append("unsat = proved. Integers are 32 bits signed, as in the exported C.")
    return Obligation.of(question.name, script(heading, definitions, assumptions, question.claim))


class FactSelector:
    """Finds out which facts a question needs."""

    def __init__(self, terms: StepTerms, facts: Facts, budget: Budget) -> None:
        self._terms = terms
        self._step = terms.step
        self._solvers = FreshSolvers(budget, terms.context)
        self._board = Switchboard([terms.ranges, terms.state_range], budget)
        self._facts = [(state, fact) for state, known in facts.items() for fact in known]
        statements = [fact_statement(self._step, *pair).formula for pair in self._facts]
        self._fact_terms = dict(zip(self._facts, terms.parse(statements), strict=True))
        (self._one_row,) = terms.parse([self._step.one_row])
        self._afresh: dict[Hashable, dict[str, list[Expression]] | Moment] = {}

    def needed(self, question: Question) -> dict[str, list[Expression]] | Moment:
        """Return the facts with which the claim follows, or where it fails with all of them.

        Raises OutOfEffortError.
        """
        if question.afresh:
            # Two deadlines with the same goal and ranks ask the same.
            if question.asked not in self._afresh:
                self._afresh[question.asked] = self._needed_afresh(question)
            return self._afresh[question.asked]
        formulas = [statement.formula for statement in question.assumptions]
        formulas.append(f"(not {question.claim.formula})")
        terms = self._terms.parse(formulas, question.definitions)
        asked = [((question.name, i), lambda term=term: term) for i, term in enumerate(terms)]
        if question.over_tick:
            asked.append(("one row", lambda: self._one_row))
        facts = {pair: lambda pair=pair: self._fact_terms[pair] for pair in self._facts}
        answer = self._board.model([*asked, *facts.items()])
        if isinstance(answer, z3.ModelRef):
            return self.moment(answer)
        needed = [pair for pair in self._facts if pair in answer]
        if not self._board.excludes([*asked, *((pair, facts[pair]) for pair in needed)]):
            # After many questions z3 was seen to leave out of a reason what it needs.
            return self._needed_afresh(question)
        chosen: dict[str, list[Expression]] = {}
        for state, fact in needed:
            chosen.setdefault(state, []).append(fact)
        return chosen

    def _needed_afresh(self, question: Question) -> dict[str, list[Expression]] | Moment:
        """The same with a new solver each time; each fact chosen excludes a counterexample."""
        chosen: dict[str, list[Expression]] = {}
        while True:
            text = obligation(self._step, question, chosen).text
            model = self._solvers.model_of_script(text)
            if model is None:
                return chosen
            moment = self.moment(model)
            failing = self._failing(moment, symbols_in(text))
            if failing is None:
                return moment
            chosen.setdefault(moment.state, []).append(failing)

    def _failing(self, moment: Moment, used: frozenset[str]) -> Expression | None:
        """Return a fact that excludes a moment, about variables that the question uses."""
        for state, fact in self._facts:
            if state == moment.state and not evaluate(fact, moment.variables):
                symbols = {self._step.value(name, False) for name in references(fact)}
                if symbols <= used:
                    return fact
        return None

    def moment(self, model: z3.ModelRef) -> Moment:
        trial = self._step.trial
        constants = self._terms.constants
        index = model.eval(self._terms.state, model_completion=True).as_long()
        return Moment(
            trial.states[index].name,
            {v.name: number(model, constants[v.name]) for v in trial.variables},
            {s.name: number(model, constants[s.name]) for s in trial.inputs},
        )


def merged(parts: Sequence[Facts]) -> dict[str, list[Expression]]:
    """Return all facts of several selections, without repetitions."""
    found: dict[str, dict[Expression, None]] = {}
    for part in parts:
        for state, facts in part.items():
            found.setdefault(state, {}).update(dict.fromkeys(facts))
    return {state: list(facts) for state, facts in found.items()}
