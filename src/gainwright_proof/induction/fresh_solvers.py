"""New solvers, one for each question, in a context of their own.

Simplified as a whole, multiplications are no burden. But a new solver of z3 goes through tables as
long as all terms of its context, and those of a search are many: it took most of the time.
"""

from __future__ import annotations

from collections.abc import Iterable

import z3

from gainwright.language.solver import solver_for
from gainwright_proof.induction.effort import Budget


class FreshSolvers:
    def __init__(self, budget: Budget, home: z3.Context | None = None) -> None:
        """``home``: context that models are for. Each method raises OutOfEffortError where the
        budget does not suffice."""
        self._budget = budget
        self._home = home or z3.main_ctx()
        self._context = z3.Context()

    def model(self, formulas: Iterable[z3.BoolRef]) -> z3.ModelRef | None:
        """Return a model of formulas, over the terms of the search, or None if there is none."""
        solver = self._solver()
        solver.add(*(formula.translate(self._context) for formula in formulas))
        return self._model(solver)

    def model_of_script(self, text: str) -> z3.ModelRef | None:
        """Return a model of an SMT-LIB script, or None if there is none."""
        solver = self._solver()
        solver.from_string(text)
        return self._model(solver)

    def _solver(self) -> z3.Solver:
        return solver_for("QF_BV", self._context)

    def _model(self, solver: z3.Solver) -> z3.ModelRef | None:
        if not self._budget.satisfiable(solver):
            return None
        return solver.model().translate(self._home)
