"""The graph of states and rows in the DOT language, for a drawing program."""

from __future__ import annotations

from gainwright.language.model import Trial


def state_graph_dot(trial: Trial) -> str:
    """Return a directed graph: a node per state, an arrow per row that leaves its state.

    Ends are drawn with a double line; the initial state is filled.
    """
    lines = [f"digraph {_quoted(trial.name)} {{", "  node [shape=box]"]
    for state in trial.states:
        look = ["peripheries=2"] if state.end else []
        look += ["style=filled"] if state.name == trial.initial_state else []
        lines.append(f"  {_quoted(state.name)} [{', '.join(look)}]")
    for row in trial.rows:
        if row.source != row.target:
            label = _quoted(row.id.split("@")[0])
            lines.append(f"  {_quoted(row.source)} -> {_quoted(row.target)} [label={label}]")
    return "\n".join([*lines, "}"]) + "\n"


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
