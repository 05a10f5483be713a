"""The methods of a proof by name, and what each name may say in evidence.

A finding names its method: one of these, then the tools that took part. Evidence is checked against
them: a method that no proof has says nothing, whatever it calls proved.
"""

from __future__ import annotations

import re

EXPLORATION = "exhaustive exploration of the compiled C"
EXPLORATION_IN_PARTS = f"{EXPLORATION}, in parts"
DIRECTED = "directed runs of the compiled C"
LOCKSTEP = "lockstep of gw_axis with a model"
SECOND_READER = "second reader of the file"
INTERVALS = "interval arithmetic"
SPIN = "model checking of the Promela export"
MODEL_CHECKING = "bounded model checking of one step"
ABSTRACT_INTERPRETATION = "abstract interpretation"
SANITIZERS = "random runs under sanitizers"
READING_C = "reading C"
TABLES = "SMT"
FIRST_MOMENT = "SMT over the first moment"
INDUCTION = "induction"
ONE_TICK = "induction over one tick"
RANKING = "ranking argument"
UNROLLED = "; unrolling from power-on"
RECHECKERS = ("bitwuzla", "cvc5")
SOLVERS = ("z3", *RECHECKERS)

REPEATED = (
    EXPLORATION,
    EXPLORATION_IN_PARTS,
    DIRECTED,
    LOCKSTEP,
    SECOND_READER,
    INTERVALS,
)
"""Found again whenever evidence is read; what else calls itself so was not found."""
BY_SMT = (TABLES, FIRST_MOMENT, INDUCTION, ONE_TICK, RANKING, *SOLVERS)
OF_C_SOURCE = (MODEL_CHECKING, ABSTRACT_INTERPRETATION, SANITIZERS, READING_C)
_KNOWN = frozenset(
    (
        EXPLORATION,
        EXPLORATION_IN_PARTS,
        DIRECTED,
        LOCKSTEP,
        SECOND_READER,
        INTERVALS,
        SPIN,
        *OF_C_SOURCE,
        *BY_SMT,
    )
)


def family(method: str) -> str:
    """Return a method without its tools and their versions."""
    name = method.split(" (")[0].removesuffix(UNROLLED)
    return re.sub(rf"^({'|'.join(SOLVERS)}) \d[\w.]*$", r"\1", name)


def is_known(method: str) -> bool:
    return family(method) in _KNOWN
