"""Fixtures and settings that all tests share."""

from __future__ import annotations

import pytest
from hypothesis import settings

from gainwright_codegen.host.cache import cache_directory

from .shared.compilers import available


@pytest.fixture(scope="module")
def scratch_cache(tmp_path_factory):
    """An empty cache, so that random parts do not pile up in the user's; Zig keeps its big one."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ZIG_GLOBAL_CACHE_DIR", str(cache_directory() / "zig"))
        patch.setenv("ZIG_LOCAL_CACHE_DIR", str(cache_directory() / "zig"))
        patch.setenv("GAINWRIGHT_CACHE_DIR", str(tmp_path_factory.mktemp("cache")))
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
