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


def limit(solver: z3.Solver, effort_s: float) -> None:
    """Limit each question to a solver."""
    solver.set("rlimit", z3_steps(effort_s))


def z3_steps(effort_s: float) -> int:
    return max(1, round(effort_s * Z3_STEPS_PER_S))


def cvc5_steps(effort_s: float) -> int:
    return max(1, round(effort_s * CVC5_STEPS_PER_S))


def reason(solver: z3.Solver) -> str:
    """Return why a solver gave up."""
    said = solver.reason_unknown()
    return "its steps were used up" if said == "canceled" else said


class Budget:
    """Steps that z3 may make from now on, for many questions together."""

    def __init__(self, effort_s: float) -> None:
        self._end = _steps_made() + z3_steps(effort_s)

    @property
    def spent(self) -> bool:
        return _steps_made() >= self._end

    def satisfiable(self, solver: z3.Solver, *wishes: z3.BoolRef) -> bool:
        """Put a question to a solver; raises OutOfEffortError."""
        left = self._end - _steps_made()
        if left <= 0:
            raise OutOfEffortError("no step is left")
        solver.set("rlimit", left)
        answer = solver.check(*wishes)
        if answer == z3.unknown:
            raise OutOfEffortError(reason(solver))
        return answer == z3.sat


def _steps_made() -> int:
    """Return the steps of all z3 solvers of this process."""
    return z3.Solver().statistics().get_key_value("rlimit count")
