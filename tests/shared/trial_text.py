"""Writes a trial document back as TOML, for tests that change one and need a file."""

from __future__ import annotations

import json
from typing import Any


def toml_text(document: dict[str, Any]) -> str:
    """Return a document of tables, lists, texts and numbers as TOML."""
    return "".join(f"{_key(key)} = {_value(value)}\n" for key, value in document.items()
                   if not isinstance(value, dict | list)) + "".join(
        _table(key, value) for key, value in document.items() if isinstance(value, dict | list)
    )  # fmt: skip


def _table(name: str, value: Any) -> str:
    entries = value if isinstance(value, list) else [value]
    head = f"[[{name}]]" if isinstance(value, list) else f"[{name}]"
    return "".join(
        f"{head}\n" + "".join(f"{_key(k)} = {_value(v)}\n" for k, v in entry.items())
        for entry in entries
    )


def _key(key: str) -> str:
    return json.dumps(key)


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    return json.dumps(value)
