"""Other forms of a trial, for tools and eyes of others. A new one: a module here, a line below."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from gainwright.language.model import Trial
from gainwright_codegen.formats.decision_tables_csv import decision_tables_csv
from gainwright_codegen.formats.state_graph_dot import state_graph_dot

FORMATS: Mapping[str, tuple[str, Callable[[Trial], str]]] = {
    "csv": ("all decision tables as comma-separated values (RFC 4180)", decision_tables_csv),
    "dot": ("the graph of states and rows in the DOT language", state_graph_dot),
}
"""What each format is, in words, and the function that writes a trial in it."""
