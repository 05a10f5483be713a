"""What an inserted defect replaces stands in the C that is exported now."""

from __future__ import annotations

import pytest

from gainwright_codegen.bundle.stamp import proved_sources
from gainwright_proof.inserted_defects import in_exported_c, in_self_test
from gainwright_proof.inserted_defects.registry import REGISTRY
from gainwright_proof.inserted_defects.small import small_trial

PLACES = [*in_exported_c.PLACES, *in_self_test.PLACES]


@pytest.fixture(scope="module")
def sources():
    return proved_sources(small_trial())


@pytest.mark.parametrize(("name", "file", "sound"), PLACES, ids=[name for name, *_ in PLACES])
def test_text_is_there_once_at_least(name, file, sound, sources):
    assert sound in sources[file].decode("ascii"), f"adapt the inserted defect {name!r}"


def test_names_are_unique():
    names = [defect.name for defect in REGISTRY]
    assert len(set(names)) == len(names)
