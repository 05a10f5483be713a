"""What findings about the C source say where they hold, written again from their figures.

Evidence is read where the tools need not be installed: their figures are believed there, until a
recheck runs them again, but a text is not.
"""

from __future__ import annotations

from gainwright_proof.c_checks import frama_c, model_checking, sanitized_runs
from gainwright_proof.c_checks.report import is_restated
from gainwright_proof.methods import (
    ABSTRACT_INTERPRETATION,
    MODEL_CHECKING,
    SANITIZERS,
    family,
)
from gainwright_proof.verdict import HOLDS, Finding

_RESTATED = {
    MODEL_CHECKING: model_checking.restated,
    ABSTRACT_INTERPRETATION: frama_c.restated,
    SANITIZERS: sanitized_runs.restated,
}


def restated(stated: Finding) -> list[Finding]:
    """Return what the method of a finding writes with these figures where something holds."""
    write = _RESTATED.get(family(stated.method))
    return [] if write is None else list(write(stated))


def is_own_text(stated: Finding) -> bool:
    """Return whether a finding that holds says, with its verdict, what its method writes."""
    if family(stated.method) not in _RESTATED or stated.verdict not in HOLDS:
        return True
    return any(
        made.subject == stated.subject
        and made.verdict is stated.verdict
        and is_restated(stated, made)
        for made in restated(stated)
    )
