"""Subjects of findings about every trial, besides ``single_hit/<state>`` and ``row/<row id>``."""

WHOLE_TRIAL = "trial_comes_to_an_end"
"""The same subject as in :mod:`gainwright_proof.induction.deadline`."""
END_REACHABLE = "end_stays_reachable"
AS_SPECIFIED = "exported_code_as_specified"
