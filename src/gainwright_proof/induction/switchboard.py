"""A solver whose formulas are turned on and off, and that says which ones an answer needed."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence

import z3

from gainwright.language.solver import solver_for
from gainwright_proof.induction.effort import Budget

Key = Hashable


class Switchboard:
    """Formulas stay in the solver, translated to bits once; each question turns on some of them."""

    def __init__(
        self, always: Iterable[z3.BoolRef], budget: Budget, least_reasons: bool = True
    ) -> None:
        """``always``: formulas of one context, at least one, that always count.

        Reasons that may hold more than is needed take less time, but depend on what was asked
        before.
        """
        first, *others = always
        self._context = first.ctx
        self._solver = solver_for("QF_BV", self._context)
        self._budget = budget
        self._least_reasons = least_reasons
        self._solver.set("core.minimize", least_reasons)
        self._solver.add(first, *others)
        self._switches: dict[Key, z3.BoolRef] = {}
        self._keys: dict[int, Key] = {}
        self._questions = 0

    def model(
        self,
        formulas: Iterable[tuple[Key, Callable[[], z3.BoolRef]]],
        choices: Sequence[tuple[Key, Callable[[], z3.BoolRef]]] = (),
    ) -> z3.ModelRef | frozenset[Key]:
        """Return a model of all formulas and at least one choice, or the keys that exclude one.

        A key stands for its formula for ever; the formula is made at the first use of the key.
        Without choices only the formulas count. Raises OutOfEffortError.
        """
        assumed = [self._switch(key, formula) for key, formula in formulas]
        if choices:
            question = z3.Bool(f"question.{self._questions}", self._context)
            self._questions += 1
            switches = [self._switch(key, formula) for key, formula in choices]
            self._solver.add(z3.Implies(question, z3.Or(*switches)))
            assumed.append(question)
        if self._budget.satisfiable(self._solver, *assumed):
            return self._solver.model()
        core = (self._keys.get(switch.get_id()) for switch in self._solver.unsat_core())
        return frozenset(key for key in core if key is not None)

    def excludes(self, formulas: Iterable[tuple[Key, Callable[[], z3.BoolRef]]]) -> bool:
        """Return whether there is no model of all formulas; asks for no reason."""
        assumed = [self._switch(key, formula) for key, formula in formulas]
        self._solver.set("core.minimize", False)
        try:
            return not self._budget.satisfiable(self._solver, *assumed)
        finally:
            self._solver.set("core.minimize", self._least_reasons)

    def _switch(self, key: Key, formula: Callable[[], z3.BoolRef]) -> z3.BoolRef:
        if key not in self._switches:
            switch = z3.Bool(f"switch.{len(self._switches)}", self._context)
            self._switches[key] = switch
            self._keys[switch.get_id()] = key
            self._solver.add(z3.Implies(switch, formula()))
        return self._switches[key]
