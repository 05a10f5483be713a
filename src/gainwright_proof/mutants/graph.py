"""What the arrows between states alone tell: states cut off, rows and ends that nothing reaches.

Arrows say where a row leads, not when; so a state without a path to it is unreachable for certain.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from gainwright.language.model import Trial

END_STAYS_REACHABLE = "end_stays_reachable"
"""What is asked of every trial: from every reachable moment, some inputs lead to an end."""


def cut_off(trial: Trial, row_ids: Iterable[str]) -> tuple[str, ...]:
    """Return the checks asked of every trial that fail for lack of a path.

    ``row/<id>`` for each row (of those asked for, ids of the original) whose state no path reaches;
    ``end_stays_reachable`` if from some state no path leads to an end.
    """
    forward: dict[str, list[str]] = {state.name: [] for state in trial.states}
    backward: dict[str, list[str]] = {state.name: [] for state in trial.states}
    for row in trial.rows:
        forward[row.source].append(row.target)
        backward[row.target].append(row.source)
    reached = _closure([trial.initial_state], forward)
    sources = {row.id: row.source for row in trial.rows}
    rows = [f"row/{name}" for name in row_ids if name in sources and sources[name] not in reached]
    ending = _closure([state.name for state in trial.states if state.end], backward)
    ends = [END_STAYS_REACHABLE] if reached - ending else []
    return (*rows, *ends)


def _closure(begin: Iterable[str], arrows: Mapping[str, Iterable[str]]) -> set[str]:
    found, waiting = set(begin), list(begin)
    while waiting:
        new = set(arrows[waiting.pop()]) - found
        found |= new
        waiting.extend(sorted(new))
    return found
