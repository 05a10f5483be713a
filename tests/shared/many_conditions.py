"""A small trial with as many conditions as wanted, all looked at in one state."""

from __future__ import annotations

from pathlib import Path

from gainwright.language.load import load_trial
from gainwright.language.model import Trial

_HEAD = """\
[trial]
name = "many"
title = "Steps of a level, told apart by a condition each"
tick_us = 1000
initial_state = "watch"

[inputs]
level = {{ kind = "integer", range = [0, 200], meaning = "What is watched" }}
stop = {{ kind = "boolean", meaning = "The end is asked for" }}

[variables]
step = {{ kind = "integer", range = [0, {count}], initial = 0, meaning = "Steps passed" }}

[outputs]
shown = {{ kind = "integer", range = [0, 200], default = "step", meaning = "Steps passed" }}

[states.watch]
meaning = "The level is watched"

[states.over]
meaning = "Nothing is watched any more"
end = true

[hazards]
wrong = {{ consequence = "A level is taken for another" }}

[requirements.within]
hazard = "wrong"
sentence = "No more steps are shown than there are."
kind = "invariant"
formula = "shown <= {count}"
proved_by = "induction"

[requirements.one_by_one]
hazard = "wrong"
sentence = "As many steps are passed as the level says."
kind = "step"
formula = "in_state(watch) and not stop implies next(step) == min(level, {count})"
proved_by = "induction"

[conditions]
asked = {{ holds = "stop", meaning = "The end is asked for" }}
"""


def many_conditions(folder: Path, count: int) -> Trial:
    """Return a trial with ``count`` conditions and one more; it is written into ``folder``."""
    text = [_HEAD.format(count=count)]
    text += [f'p{k} = {{ holds = "level >= {k}", meaning = "x" }}' for k in range(1, count + 1)]
    for k in range(count + 1):
        when = [f"p{k}"] if k else []
        unless = ["asked", *([f"p{k + 1}"] if k < count else [])]
        text.append(
            f'[[rows]]\nid = "r{k}"\nfrom = "watch"\nwhen = {when}\nunless = {unless}\n'
            f'actions = {{ step = {k} }}\nwhy = "x"'
        )
    text.append('[[rows]]\nid = "end"\nfrom = "watch"\nwhen = ["asked"]\nto = "over"\nwhy = "x"')
    text.append('[[rows]]\nid = "rest"\nfrom = "over"\nwhy = "x"')
    path = folder / "many.toml"
    path.write_text("\n".join([*text, ""]).replace("'", '"'), encoding="utf-8")
    return load_trial(path)
