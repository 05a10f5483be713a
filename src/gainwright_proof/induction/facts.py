"""Finds facts about the states of a trial: invariants that later proofs may rest on.

Candidates come from the specification: conjuncts of its invariants, its boolean variables, its
integers compared with its literals and with each other. If those do not suffice, the same under
one premise, then under two.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from typing import TypeGuard

import z3

from gainwright.language.expression import (
    Binary,
    Boolean,
    Expression,
    Integer,
    Operator,
    Reference,
    Unary,
    references,
)
from gainwright.language.model import Kind, RequirementKind, Trial, Variable
from gainwright_proof.induction.effort import Budget
from gainwright_proof.induction.expression import conjuncts
from gainwright_proof.induction.fast_machine import FastMachine, Values
from gainwright_proof.induction.induction import Chains, Facts, Induction
from gainwright_proof.induction.sifting import Sifter
from gainwright_proof.induction.specialise import negated, specialised
from gainwright_proof.induction.switchboard import Switchboard
from gainwright_proof.induction.terms import StepTerms, number
from gainwright_proof.induction.vocabulary import (
    Chain,
    Vocabulary,
    boolean_chains,
    count_chains,
    guards,
    integer_chains,
    vocabulary,
)

MOST_PREMISES = 2
MOST_CANDIDATES = 8_000
"""Rounds with more candidates are not tried."""
SIFTING_ROUNDS = 80
TICKS_ROUNDS = 80


class FactFinder:
    """Finds more facts with every round."""

    def __init__(self, trial: Trial, terms: StepTerms) -> None:
        """Raises nothing; what gets a budget raises OutOfEffortError where it does not suffice."""
        self._trial = trial
        self._terms = terms
        self._machine = FastMachine(trial)
        self._words = vocabulary(trial)
        self._chains = [*boolean_chains(self._words), *integer_chains(self._words)]
        self._values = critical_values(trial, self._words)
        self.facts: dict[str, list[Expression]] = {state.name: [] for state in trial.states}

        self._inputs: dict[str, Values] | None = None

    def search(self, premises: int, budget: Budget) -> bool:
        """Look for facts under so many premises; return False if there are too many to try.

        Under none there are fewer for a large trial: what its invariants state about each state,
        variables that rest at their initial values in it, and bounds of counts.
        """
        candidates = {s.name: list(self._candidates(s.name, premises)) for s in self._trial.states}
        if sum(map(len, candidates.values())) > MOST_CANDIDATES:
            if premises:
                return False
            few = [*((_at_rest(v),) for v in self._trial.variables), *count_chains(self._words)]
            candidates = {s.name: [*self._stated(s.name), *few] for s in self._trial.states}
        self._search(candidates, budget)
        return True

    def search_for(self, invariants: Iterable[Expression], budget: Budget) -> None:
        """Look for the conjuncts of invariants in all states, under no or one premise each."""
        parts = dict.fromkeys(
            part
            for invariant in invariants
            for state in self._trial.states
            for part in self._parts(invariant, state.name)
        )
        candidates = {s.name: list(self._guarded_parts(s.name, parts)) for s in self._trial.states}
        self._search(candidates, budget)

    def _search(self, candidates: Chains, budget: Budget) -> None:
        induction = Induction(
            self._trial, self._terms, self.facts, candidates, budget, least_reasons=False
        )
        self._sifter(induction, budget).run(SIFTING_ROUNDS)
        for state, found in induction.largest_inductive().items():
            self.facts[state] = concise([*self.facts[state], *found])

    def ticks(self, budget: Budget) -> Sifter:
        """Return a sifter that has tried ticks from many moments where all facts hold."""
        sifter = self._sifter(self._established(self._terms, budget), budget)
        sifter.run(TICKS_ROUNDS)
        sifter.spread()
        return sifter

    def _sifter(self, induction: Induction, budget: Budget) -> Sifter:
        if self._inputs is None:
            self._inputs = inputs_by_row(self._trial, self._terms, budget)
        return Sifter(self._trial, self._machine, induction, self._inputs, self._values)

    def _established(self, terms: StepTerms, budget: Budget) -> Induction:
        """Return the facts found so far as candidates that are all inductive."""
        chains: Chains = {state: [(fact,) for fact in facts] for state, facts in self.facts.items()}
        return Induction(self._trial, terms, {}, chains, budget)

    def support(
        self, wanted: Facts, terms: StepTerms, budget: Budget
    ) -> dict[str, list[Expression]]:
        """Return facts that include the wanted ones and are inductive on their own."""
        return self._established(terms, budget).support(wanted)

    def _candidates(self, state: str, premises: int) -> Iterator[Chain]:
        yield from self._stated(state)
        fixed = _fixed(self.facts[state])
        known = set(self.facts[state])
        open_chains = [
            stronger
            for chain in self._chains
            if (stronger := _before_known(chain, known)) and not references(chain[0]) <= fixed
        ]
        yield from open_chains
        for count in range(1, premises + 1):
            for chosen in itertools.combinations(self._free_guards(state), count):
                if not _overlapping(chosen):
                    yield from _under(chosen, open_chains)

    def _stated(self, state: str) -> Iterator[Chain]:
        for requirement in self._trial.requirements:
            if requirement.kind is RequirementKind.INVARIANT:
                yield from ((part,) for part in self._parts(requirement.formula, state))

    def _guarded_parts(self, state: str, parts: Iterable[Expression]) -> Iterator[Chain]:
        chains = [(part,) for part in parts if part not in self.facts[state]]
        yield from chains
        for guard in self._free_guards(state):
            yield from _under((guard,), chains)

    def _free_guards(self, state: str) -> list[Expression]:
        fixed = _fixed(self.facts[state])
        return [guard for guard in guards(self._words) if not references(guard) & fixed]

    def _parts(self, invariant: Expression, state: str) -> list[Expression]:
        """Return what an invariant demands of the variables in a state, conjunct by conjunct."""
        parts = conjuncts(specialised(invariant, state, self._trial))
        return [part for part in parts if references(part)]


def _at_rest(variable: Variable) -> Expression:
    named = Reference(variable.name)
    if variable.kind is Kind.BOOLEAN:
        return named if variable.initial else negated(named)
    return Binary(Operator.EQUAL, named, Integer(variable.initial))


def _overlapping(guards_chosen: Sequence[Expression]) -> bool:
    pairs = itertools.combinations(map(references, guards_chosen), 2)
    return any(first & second for first, second in pairs)


def _under(premises: Sequence[Expression], chains: Iterable[Chain]) -> Iterator[Chain]:
    """Yield the chains under premises about other variables."""
    denials = [negated(premise) for premise in premises]
    names = frozenset().union(*map(references, premises))
    for chain in chains:
        if not references(chain[0]) & names:
            yield tuple(_either(denials, link) for link in chain)


def _either(denials: Sequence[Expression], conclusion: Expression) -> Expression:
    """Return that the premises imply the conclusion, as the file would write it."""
    premise = negated(denials[0])
    for denial in denials[1:]:
        premise = Binary(Operator.AND, premise, negated(denial))
    return Binary(Operator.IMPLIES, premise, conclusion)


def _fixed(facts: Iterable[Expression]) -> frozenset[str]:
    """Return the variables that have one value only."""
    found = set()
    for fact in facts:
        match fact:
            case Reference(name) | Unary(Operator.NOT, Reference(name)):
                found.add(name)
            case Binary(Operator.EQUAL, Reference(name), Integer() | Boolean()):
                found.add(name)
    return frozenset(found)


def concise(facts: Iterable[Expression]) -> list[Expression]:
    """Return the facts without those that follow from others by fixed values or equality."""
    distinct = list(dict.fromkeys(facts))
    fixed = _fixed(distinct)
    equal = {frozenset((f.left, f.right)) for f in distinct if _is(f, Operator.EQUAL)}
    return [
        fact
        for fact in distinct
        if _fixed([fact])
        or not (
            references(fact) <= fixed
            or (_is(fact, Operator.LESS_EQUAL) and frozenset((fact.left, fact.right)) in equal)
        )
    ]


def _is(fact: Expression, operator: Operator) -> TypeGuard[Binary]:
    return isinstance(fact, Binary) and fact.operator is operator


def _before_known(chain: Chain, known: set[Expression]) -> Chain:
    """Return the links of a chain that say more than what is known."""
    for index, link in enumerate(chain):
        if link in known:
            return chain[:index]
    return chain


def critical_values(trial: Trial, words: Vocabulary) -> dict[str, list[int]]:
    """Return values of each variable at which some candidate may change, ascending."""
    found: dict[str, list[int]] = {}
    for variable in trial.variables:
        if variable.kind is Kind.BOOLEAN:
            found[variable.name] = [0, 1]
            continue
        values = {variable.low, variable.high, (variable.low + variable.high) // 2}
        values |= {literal.value for literal in words.literals[variable.name]}
        offsets = {
            offset.value
            for (first, _), pair_offsets in words.pairs.items()
            if first == variable.name
            for offset in pair_offsets
        }
        values |= {value + sign * o for value in values for o in offsets for sign in (-1, 1)}
        found[variable.name] = sorted(v for v in values if variable.low <= v <= variable.high)
    return found


def inputs_by_row(trial: Trial, terms: StepTerms, budget: Budget) -> dict[str, Values]:
    """Return inputs with which each row can hold, for rows that can."""
    board = Switchboard([terms.ranges], budget)
    found = {}
    for row in trial.rows:
        model = board.model([(row.id, lambda row=row: terms.guard(row))])
        if isinstance(model, z3.ModelRef):
            found[row.id] = {
                signal.name: number(model, terms.constants[signal.name]) for signal in trial.inputs
            }
    return found
