"""Inserted defects are noticed: the first of each kind here, all of them by the command.

Each kind begins with what was once seen to be proved and stamped although it was broken.
"""

from __future__ import annotations

import pytest

from gainwright_proof.inserted_defects import in_evidence, in_exported_c, in_trial
from gainwright_proof.inserted_defects.registry import REGISTRY

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("scratch_cache")]

FIRST = {defect.kind: defect for defect in reversed(REGISTRY)}
NAMES = [defect.name for defect in REGISTRY]


def test_there_are_enough_of_them_and_no_two_are_the_same():
    assert len(REGISTRY) >= 80
    assert len(set(NAMES)) == len(NAMES)
    assert len(FIRST) >= 17


def test_sound_c_and_sound_evidence_leave_nothing_open():
    """The control: otherwise everything below would be noticed for the wrong reason."""
    assert tuple(in_exported_c.control()) == ()
    assert in_evidence.control() == ()
    assert in_trial.control() == ()


@pytest.mark.parametrize("kind", sorted(FIRST))
def test_first_of_its_kind_is_noticed(kind):
    assert FIRST[kind].noticed_by(), FIRST[kind].name
