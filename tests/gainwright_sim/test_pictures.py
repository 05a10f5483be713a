"""What pictures show: the end with its reason, violated ticks, exact limits, no legend on a curve.

Pictures are caught as figures before they become PNG.
"""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np
import pytest
from matplotlib.figure import Figure

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.load_picture import save_load_picture
from gainwright_sim.rehearsal.picture import save_picture
from gainwright_sim.rehearsal.rehearse import Rehearsal, rehearse
from gainwright_sim.rehearsal.response_picture import save_response_picture
from gainwright_sim.rehearsal.responses import save_responses
from gainwright_sim.rehearsal.summary import Summary, summarise

VIOLATED = (4000, 5200)


@cache
def rehearsed(trial: str, machine: str, start_gain: float = 1.0) -> tuple[Rehearsal, Summary]:
    """A rehearsal of a machine whose start gain is so many times its own."""
    axis = load_machine(machine)
    gain = start_gain * axis.speed_loop.start_speed_gain_nms_per_rad
    loop = dataclasses.replace(axis.speed_loop, start_speed_gain_nms_per_rad=gain)
    bench = Bench(load_trial(shipped_trial_path(trial)), dataclasses.replace(axis, speed_loop=loop))
    rehearsal = rehearse(bench, 1)
    return rehearsal, summarise(rehearsal)


def drawn(monkeypatch, save, *arguments) -> Figure:
    """The figure that a function would save."""
    kept = []
    monkeypatch.setattr(Figure, "savefig", lambda figure, *_, **__: kept.append(figure))
    save("unused.png", *arguments)
    (figure,) = kept
    return figure


def written(figure: Figure) -> str:
    texts = [text.get_text() for axis in figure.axes for text in axis.texts]
    return " ".join(" ".join(texts).split())


def upright_lines(axis) -> list[float]:
    return [line.get_xdata()[0] for line in axis.lines if len(set(line.get_xdata())) == 1]


def level_lines(axis) -> list[float]:
    return [line.get_ydata()[0] for line in axis.lines if len(set(line.get_ydata())) == 1]


def legends_on_curves(figure: Figure) -> list[str]:
    """Legends that overlap the frame of an axis, by more than a pixel: curves end at the frame."""
    figure.canvas.draw()
    found = []
    for axis in figure.axes:
        legend = axis.get_legend()
        if legend is not None:
            box = legend.get_window_extent(figure.canvas.get_renderer()).padded(-1.0)
            if any(box.overlaps(other.bbox) for other in figure.axes):
                found.append(axis.get_ylabel())
    return found


def test_end_and_its_reason_are_marked(monkeypatch):
    rehearsal, summary = rehearsed("standard", "grinder-slide")
    figure = drawn(monkeypatch, save_picture, rehearsal, summary)
    states, ending = figure.axes[-1], summary.ending
    assert ending.time_s in upright_lines(states)
    assert f"{ending.time_s:.3f} s {ending.reason}: {ending.words}" in written(figure)
    named = [label.get_text() for label in states.get_yticklabels()]
    visited = {rehearsal.trial.states[k].name for k in np.unique(rehearsal.log.state)}
    assert set(named) == {name.replace("_", " ") for name in visited}


def test_each_violated_tick_is_marked_and_named(monkeypatch):
    rehearsal, summary = rehearsed("standard", "grinder-slide")
    violations = tuple(
        {"requirement_id": f"rule_{tick}", "tick": tick, "values": {}} for tick in VIOLATED
    )
    violated = dataclasses.replace(summary, outcome="violated", violations=violations)
    figure = drawn(monkeypatch, save_picture, rehearsal, violated)
    assert {4.0, 5.2} <= set(upright_lines(figure.axes[-1]))
    assert "4.000 s violated: rule_4000, rule_5200" in written(figure)


@pytest.mark.parametrize("start_gain", [1.0, 30.0])
def test_exact_limit_is_drawn_above_and_below_the_start_gain(start_gain, monkeypatch):
    rehearsal, summary = rehearsed("standard", "grinder-slide", start_gain)
    exact, start = summary.stages[0].theory.limit, summary.stages[0].start
    assert (exact < start) == (start_gain > 1.0)
    figure = drawn(monkeypatch, save_picture, rehearsal, summary)
    gains = figure.axes[0]
    low, high = gains.get_ylim()
    assert exact in level_lines(gains) and low < exact < high and low < start < high
    assert f"exact limit {exact:.4g}" in written(figure)


@pytest.mark.parametrize(
    ("save", "trial", "machine"),
    [
        (save_picture, "gentle", "grinder-slide"),
        (save_response_picture, "gentle", "grinder-slide"),
        (lambda path, rehearsal, _: save_responses(path, rehearsal), "standard", "grinder-slide"),
        pytest.param(
            lambda path, _, summary: save_load_picture(path, summary),
            "loadside", "kiln-shuttle", marks=pytest.mark.slow,
        ),
    ],
    ids=["levels and predictions", "loop response", "responses", "decays"],
)  # fmt: skip
def test_no_legend_lies_on_a_curve(save, trial, machine, monkeypatch):
    figure = drawn(monkeypatch, save, *rehearsed(trial, machine))
    assert [axis for axis in figure.axes if axis.get_legend() is not None]
    assert not legends_on_curves(figure)


def test_a_legend_on_a_curve_is_noticed(monkeypatch):
    rehearsal, summary = rehearsed("standard", "grinder-slide")
    figure = drawn(monkeypatch, save_picture, rehearsal, summary)
    levels = next(axis for axis in figure.axes if axis.get_ylabel().startswith("detector"))
    levels.legend(loc="lower right")
    assert legends_on_curves(figure) == [levels.get_ylabel()]
