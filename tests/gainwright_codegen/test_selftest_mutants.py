"""Single changes of the exported C: the self-test notices each, or it is listed why none can."""

from __future__ import annotations

import re

import pytest

from ..shared.bundles import standard_bundle
from ..shared.compilers import available
from ..shared.selftest_bench import SelfTestBench
from .selftest_mutants import RUNTIME, Mutant, constants_raised

pytestmark = [
    pytest.mark.usefixtures("scratch_cache"),
    pytest.mark.skipif(not available("gcc"), reason="gcc is not installed"),
]
SAMPLE = RUNTIME[::8]


@pytest.fixture(scope="module")
def files(scratch_cache) -> dict[str, bytes]:
    return {k: v for k, v in standard_bundle().files.items() if k.endswith((".c", ".h"))}


@pytest.fixture(scope="module")
def bench(files, tmp_path_factory) -> SelfTestBench:
    return SelfTestBench(files, tmp_path_factory.mktemp("mutants"))


def check(bench: SelfTestBench, files: dict[str, bytes], mutant: Mutant) -> None:
    text = files[mutant.file].decode()
    assert mutant.sound in text, mutant
    said = bench.verdict(mutant.file, text.replace(mutant.sound, mutant.broken, 1))
    assert said != "does not compile", mutant
    assert bool(said) == (not mutant.equivalent), mutant


@pytest.mark.parametrize("mutant", SAMPLE, ids=lambda mutant: mutant.sound)
def test_a_change_is_noticed(bench, files, mutant):
    check(bench, files, mutant)


@pytest.mark.slow
@pytest.mark.parametrize("mutant", RUNTIME, ids=lambda mutant: mutant.sound)
def test_every_change_is_noticed(bench, files, mutant):
    check(bench, files, mutant)


@pytest.mark.slow
def test_numbers_of_the_trial_raised_by_one_are_noticed(bench, files):
    """Nobody can notice a constant that only requirements name: no C reads it."""
    missed = []
    for name in ("gw_trial.c", "gw_trial.h"):
        for line, text in constants_raised(files[name].decode()):
            if not bench.verdict(name, text):
                missed.append(line)
    read = files["gw_trial.c"].decode()
    named = [(re.match(r"#define (\w+)", line), line) for line in missed]
    assert not [line for macro, line in named if macro is None or macro[1] in read]
