"""The tables of a machine description as the common reader of files takes them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache
from typing import Any

from gainwright.described import table as described
from gainwright.described.shape import (
    ListShape,
    Shape,
    ValueShape,
    choice,
    is_text,
    number,
    whole_number,
)
from gainwright_sim.machine.keys import LONGEST_LIST, MECHANICS_KINDS, REQUIRED, Key, Table, Type


def layout_of(table: Table, kind: str | None) -> described.Layout:
    """Return the keys that a table may have with mechanics of a kind.

    Where the kind is not known, every key may be given, and only what all kinds want is required.
    """
    keys = [key for key in table.keys if kind is None or kind in key.kinds]
    certain = [key for key in keys if kind or len(key.kinds) == len(MECHANICS_KINDS)]
    return layout(keys, required=certain)


def layout(keys: Iterable[Key], required: Iterable[Key] | None = None) -> described.Layout:
    """Return keys by name; of those without a default only some are required, if asked so."""
    keys = tuple(keys)
    certain = {key.name for key in (keys if required is None else required)}
    return {key.name: _described(key, key.name in certain) for key in keys}


def _described(key: Key, certain: bool) -> described.Key:
    has_default = key.default is not REQUIRED
    default = key.default if has_default else described.NOTHING
    required = certain and not has_default
    return described.Key(shape_of(key), key.meaning, required, default, key.quantity)


@cache
def shape_of(key: Key) -> Shape:
    """Return what may stand at a key."""
    match key.type:
        case Type.CHOICE:
            return choice(*key.choices)
        case Type.TEXT:
            return _text(key)
        case Type.INTEGER:
            return whole_number(key.low, key.high)
        case Type.NUMBER:
            return number(key.low, key.high)
        case Type.NUMBERS:
            return ListShape(number(key.low, key.high), LONGEST_LIST, _as_list(key.name))


def _text(key: Key) -> ValueShape:
    """A text that is not empty where it must be given."""
    required = key.default is REQUIRED

    def accepts(value: object) -> bool:
        return is_text(value) if required else isinstance(value, str)

    def remedy(value: object) -> str:
        return f"fill in {key.name}" if isinstance(value, str) else f'write {key.name} = "..."'

    return ValueShape(f"a text in quotes: {key.meaning}", {"type": "string"}, accepts, remedy)


def _as_list(name: str) -> Callable[[Any], str]:
    def remedy(value: object) -> str:
        return f"write {name} = [{value if isinstance(value, int | float) else '...'}]"

    return remedy
