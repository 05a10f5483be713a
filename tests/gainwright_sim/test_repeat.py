"""The spread over noise seeds, in rungs."""

from __future__ import annotations

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_cli.main import main
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.repeat import repeat
from gainwright_sim.rehearsal.summary import summarise


@pytest.fixture(scope="module")
def spread():
    bench = Bench(load_trial(shipped_trial_path()), load_machine("kiln-shuttle"), changeable=True)
    return repeat(bench, summarise(rehearse(bench, 3)), range(4, 7))


def test_repeats_end_on_the_same_rung_or_the_next_one(spread):
    """DESIGN section 5."""
    (stage,) = spread.stages
    assert spread.seeds == (3, 4, 5, 6) and sum(spread.outcomes.values()) == 4
    assert len(stage.limit_rungs) == 4
    assert stage.limit_rungs[-1] - stage.limit_rungs[0] <= 1
    assert len(stage.result_rungs) == 4


def test_spread_is_said_in_rungs(spread):
    first, second = spread.lines()
    assert "seeds 3 to 6" in first and "a spread of" in second


@pytest.mark.slow
def test_noise_does_not_take_the_result_of_a_shipped_machine():
    """Of ten rehearsals of the positioning bench three ended unheard: in its verification an answer
    that was not seen could be repeated once only."""
    bench = Bench(load_trial(shipped_trial_path()), load_machine("positioning-bench"), True)
    spread = repeat(bench, summarise(rehearse(bench, 100)), range(101, 112))
    assert spread.outcomes["finished"] + spread.outcomes["limited_by_noise"] >= 11


@pytest.mark.parametrize("options", [["--repeat", "0"], ["--repeat", "x"], ["--repeat", "1001"]])
def test_impossible_repeats_are_refused(options, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["rehearse", "kiln-shuttle", *options])
    assert stopped.value.code == 2 and "whole number from 1 to 1000" in capsys.readouterr().err


def test_a_replay_cannot_be_repeated(capsys):
    with pytest.raises(SystemExit) as stopped:
        raise SystemExit(main(["rehearse", "kiln-shuttle", "--repeat", "2", "--replay", "x"]))
    assert stopped.value.code == 2 and "--replay" in capsys.readouterr().err
