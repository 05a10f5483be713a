"""Which inputs of a trial the exported detector supplies."""

from __future__ import annotations

from gainwright.detector.evidence import FINDINGS
from gainwright.detector.response_settings import RESPONSE_FINDINGS, RESPONSE_INPUT
from gainwright.language.model import Trial


def measures_response(trial: Trial) -> bool:
    """Whether a trial has the loop response measured."""
    return RESPONSE_INPUT in trial.index.inputs


def trial_findings(trial: Trial) -> tuple[str, ...]:
    """Return the names of all findings, in the order in which the exported C has them."""
    return (*FINDINGS, *RESPONSE_FINDINGS) if measures_response(trial) else FINDINGS
