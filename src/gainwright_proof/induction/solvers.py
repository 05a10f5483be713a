"""The SMT solvers: each decides an SMT-LIB script within a limit of effort, in this process.

:mod:`gainwright_proof.induction.recheck` runs them in processes of their own.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from importlib import metadata, util


class Answer(Enum):
    UNSAT = "unsat"
    SAT = "sat"
    UNKNOWN = "unknown"
    """Ran out of time or memory, or broke down: the reason says which."""


@dataclass(frozen=True, slots=True)
class Reply:
    answer: Answer
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Solver:
    name: str
    module: str
    package: str
    """Name under which pip installs it."""
    decide: Callable[[str, float], Reply]

    def missing(self) -> str:
        """Return why the solver cannot run, or nothing if it can."""
        if util.find_spec(self.module) is None:
            return f"{self.name} is not installed (pip install {self.package})"
        return ""

    def title(self) -> str:
        """Return name and version, e.g. ``cvc5 1.4.2``."""
        return f"{self.name} {metadata.version(self.package)}"


def _z3(text: str, effort_s: float) -> Reply:
    from gainwright.language.solver import solver_for
    from gainwright_proof.induction.effort import reason, z3_steps

    solver = solver_for("QF_BV")
    solver.set("rlimit", z3_steps(effort_s))
    solver.from_string(text)
    answer = Answer(str(solver.check()))
    return Reply(answer, reason(solver) if answer is Answer.UNKNOWN else "")


def _bitwuzla(text: str, effort_s: float) -> Reply:
    import bitwuzla

    parser = bitwuzla.Parser(bitwuzla.TermManager(), bitwuzla.Options())
    # parse_only: the check-sat of the script is made here, where its answer can be read.
    parser.parse(text, True, False)
    solver = parser.bitwuzla()
    # It counts no steps; time of the processor at least passes for this process only.
    end = time.process_time() + effort_s
    solver.configure_terminator(lambda: time.process_time() > end)
    answer = Answer(str(solver.check_sat()))
    return Reply(answer, limit_reached(effort_s) if answer is Answer.UNKNOWN else "")


def _cvc5(text: str, effort_s: float) -> Reply:
    import cvc5

    from gainwright_proof.induction.effort import cvc5_steps

    solver = cvc5.Solver()
    solver.setOption("rlimit-per", str(cvc5_steps(effort_s)))
    parser = cvc5.InputParser(solver)
    parser.setStringInput(cvc5.InputLanguage.SMT_LIB_2_6, text, "obligation")
    printed = ""
    while not (command := parser.nextCommand()).isNull():
        printed += command.invoke(solver, parser.getSymbolManager())
    word = printed.split()[0] if printed.split() else ""  # unknown is followed by the reason
    answer = Answer(word.strip("()"))
    return Reply(answer, limit_reached(effort_s) if answer is Answer.UNKNOWN else "")


def limit_reached(effort_s: float) -> str:
    return f"no answer with the effort of {effort_s:g} s"


SOLVERS = {
    solver.name: solver
    for solver in (
        Solver("z3", "z3", "z3-solver", _z3),
        Solver("bitwuzla", "bitwuzla", "bitwuzla", _bitwuzla),
        Solver("cvc5", "cvc5", "cvc5", _cvc5),
    )
}
"""All solvers by name; z3 also finds the proofs."""


def decide(solver_name: str, text: str, effort_s: float) -> Reply:
    """Return a solver's reply; whatever goes wrong inside it is reported as unknown."""
    try:
        return SOLVERS[solver_name].decide(text, effort_s)
    except Exception as error:  # a solver's own exception types are not known beforehand
        return Reply(Answer.UNKNOWN, f"{type(error).__name__}: {error}")
