"""The axis that the lockstep is tried on fits every trial that ships."""

from __future__ import annotations

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_names, shipped_trial_path
from gainwright_codegen.axis_c.tables import axis_tables
from gainwright_proof.axis_binding.probe import probe_axis, probe_trial


@pytest.mark.parametrize("name", shipped_trial_names())
def test_every_shipped_trial_has_tables_on_the_probe(name):
    trial = load_trial(shipped_trial_path(name))
    assert len(axis_tables(probe_trial(trial), probe_axis(trial))) == len(trial.stages)
