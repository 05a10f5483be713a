"""The shape of each key's value, and the value in its Python type."""

from __future__ import annotations

from functools import cache
from typing import Any

from gainwright.described.shape import (
    ListShape,
    Shape,
    Slip,
    ValueShape,
    choice,
    is_text,
    number,
    whole_number,
)
from gainwright_sim.machine.keys import LONGEST_LIST, REQUIRED, Key, Type


def check_value(key: Key, value: Any) -> tuple[Any, list[Slip]]:
    """Return the value in its Python type, and what is wrong with it; usable only if nothing is."""
    slips = shape_of(key).slips(value)
    return (None if slips else _typed(key, value)), slips


def _typed(key: Key, value: Any) -> Any:
    if key.type is Type.NUMBERS:
        return tuple(float(item) for item in value)
    if key.type is Type.NUMBER:
        return float(value)
    return int(value) if key.type is Type.INTEGER else value


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


def _as_list(name: str):
    def remedy(value: object) -> str:
        return f"write {name} = [{value if isinstance(value, int | float) else '...'}]"

    return remedy


def expectation(key: Key) -> str:
    """Return what the key wants, in words."""
    return shape_of(key).expected
