"""Fixtures and settings that all tests share."""

from __future__ import annotations

import gc
import os
import shutil
import tempfile

# As the command line has it: matrices are small, and a second thread would only wait for the first.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

from gainwright_codegen.host.cache import scratch_cache

from .shared.compilers import available

_SCRATCH = "GAINWRIGHT_TEST_SCRATCH"
"""Environment variable by which the processes of a test run know their common scratch folder."""


# Thousands of collected tests are no garbage: to walk them again and again takes long.
gc.set_threshold(100_000, 20, 100)


def pytest_collection_finish():
    gc.freeze()


def pytest_configure(config):
    if not hasattr(config, "workerinput"):
        os.environ[_SCRATCH] = tempfile.mkdtemp(prefix="gainwright-tests-")


def pytest_unconfigure(config):
    if not hasattr(config, "workerinput"):
        shutil.rmtree(os.environ.pop(_SCRATCH), ignore_errors=True)


@pytest.fixture(scope="module", name="scratch_cache")
def _scratch_cache():
    """A cache that goes with the test run, so that random parts do not pile up in the user's.

    What two files compile is compiled once.
    """
    with scratch_cache(os.environ[_SCRATCH]):
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
settings.register_profile(
    "fixed", derandomize=True, deadline=None, print_blob=True, max_examples=50
)
settings.load_profile("fixed")
