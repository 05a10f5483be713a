"""All inserted defects; a new family is one more tuple here."""

from __future__ import annotations

from gainwright_proof.inserted_defects.defect import InsertedDefect
from gainwright_proof.inserted_defects.in_evidence import IN_EVIDENCE
from gainwright_proof.inserted_defects.in_exported_c import IN_EXPORTED_C
from gainwright_proof.inserted_defects.in_mutants import IN_MUTANTS
from gainwright_proof.inserted_defects.in_self_test import IN_SELF_TEST
from gainwright_proof.inserted_defects.in_tool import IN_TOOL
from gainwright_proof.inserted_defects.in_trial import IN_TRIAL

REGISTRY: tuple[InsertedDefect, ...] = (
    *IN_EXPORTED_C,
    *IN_SELF_TEST,
    *IN_TOOL,
    *IN_TRIAL,
    *IN_MUTANTS,
    *IN_EVIDENCE,
)
