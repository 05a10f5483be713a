"""How hard a solver tries before it gives up: its own steps are counted, not seconds.

So a proof comes out the same on a computer that is busy with something else. Effort is given in
seconds (about as long as it takes where nothing else runs) and turned into steps here.
"""

from __future__ import annotations

import z3

Z3_STEPS_PER_S = 6_000_000
"""Measured on hard products of 64 bits."""
CVC5_STEPS_PER_S = 20_000


class OutOfEffortError(Exception):
    """A solver gave up within its limits; the search cannot go on."""


def z3_steps(effort_s: float) -> int:
    return max(1, round(effort_s * Z3_STEPS_PER_S))


def cvc5_steps(effort_s: float) -> int:
    return max(1, round(effort_s * CVC5_STEPS_PER_S))


def reason(solver: z3.Solver) -> str:
    """Return why a solver gave up."""
    said = solver.reason_unknown()
    limited = "canceled" in said or "resource limit" in said
    return "its steps were used up" if limited else said


class Budget:
    """Steps that z3 may make from now on, for many questions together."""

    _made = 0
    """Steps of all questions of this process that had a budget."""

    def __init__(self, effort_s: float, each_s: float | None = None) -> None:
        """No question gets more than ``each_s``."""
        self._effort_s = effort_s
        self._each = z3_steps(effort_s if each_s is None else each_s)
        self._end = Budget._made + z3_steps(effort_s)

    @property
    def spent(self) -> bool:
        return Budget._made >= self._end

    def satisfiable(self, solver: z3.Solver, *wishes: z3.BoolRef) -> bool:
        """Put a question to a solver; raises OutOfEffortError."""
        if self.spent:
            raise OutOfEffortError(f"the effort of {self._effort_s:g} s is used up")
        solver.set("rlimit", min(self._end - Budget._made, self._each))
        before = _steps(solver)
        answer = solver.check(*wishes)
        Budget._made += _steps(solver) - before
        if answer == z3.unknown:
            raise OutOfEffortError(reason(solver))
        return answer == z3.sat


def _steps(solver: z3.Solver) -> int:
    """Return the steps made so far in the context of a solver."""
    counted = solver.statistics()
    return next((value for name, value in counted if name == "rlimit count"), 0)
