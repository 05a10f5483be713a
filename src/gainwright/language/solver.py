"""Solvers of z3 that leave an interrupt from the keyboard to Python.

As it comes, z3 takes the interrupt for itself while it solves and answers "unknown": the command
would go on, with a question undecided that nobody meant to leave.
"""

from __future__ import annotations

import z3


def solver_for(logic: str, context: z3.Context | None = None) -> z3.Solver:
    """Return a solver for a logic of SMT-LIB, e.g. ``QF_BV``, in z3's main context by default."""
    solver = z3.SolverFor(logic, ctx=context)
    solver.set("ctrl_c", False)
    return solver
