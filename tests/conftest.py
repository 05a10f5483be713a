"""Fixtures and settings that all tests share."""

from __future__ import annotations

import pytest
from hypothesis import settings

from gainwright_codegen.host.cache import scratch_cache

from .shared.compilers import available


@pytest.fixture(scope="module", name="scratch_cache")
def _scratch_cache():
    """An empty cache, so that random parts do not pile up in the user's."""
    with scratch_cache():
        yield


@pytest.fixture(scope="module")
def undefined_behaviour_ends_the_run():
    """Choose gcc: a library that clang sanitizes does not load into another program."""
    if not available("gcc"):
        pytest.skip("gcc is not installed")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("GAINWRIGHT_CC", "gcc")
        yield


# Examples are the same in every run: what fails once fails again, and nothing fails by chance.
settings.register_profile("fixed", derandomize=True, deadline=None, print_blob=True)
settings.load_profile("fixed")
