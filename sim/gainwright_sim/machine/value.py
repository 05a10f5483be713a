"""Check the value of one key against its type and range."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from gainwright_sim.machine.keys import REQUIRED, Key, Type
from gainwright_sim.machine.units import nearest


class Slip(NamedTuple):
    """What is wrong with a value; ``at`` is the index in a list, as ``[2]``, or empty."""

    at: str
    found: str
    expected: str
    remedy: str


def check_value(key: Key, value: Any) -> tuple[Any, list[Slip]]:
    """Return the value in its Python type, and what is wrong with it; usable only if nothing is."""
    if key.type is Type.NUMBERS:
        return _check_list(key, value)
    slip = _text_slip(key, value) if _is_text(key) else _number_slip(key, value)
    if slip is not None:
        return None, [slip]
    if key.type is Type.NUMBER:
        return float(value), []
    return (int(value) if key.type is Type.INTEGER else value), []


def _is_text(key: Key) -> bool:
    return key.type in (Type.TEXT, Type.CHOICE)


def _check_list(key: Key, value: Any) -> tuple[Any, list[Slip]]:
    if not isinstance(value, list):
        content = value if isinstance(value, (int, float)) else "..."
        remedy = f"write {key.name} = [{content}]"
        return None, [Slip("", show(value), expectation(key), remedy)]
    slips = [
        slip._replace(at=f"[{index}]")
        for index, item in enumerate(value)
        if (slip := _number_slip(key, item)) is not None
    ]
    return (None if slips else tuple(float(item) for item in value)), slips


def _text_slip(key: Key, value: Any) -> Slip | None:
    if not isinstance(value, str):
        return Slip("", show(value), expectation(key), f'write {key.name} = "..."')
    if key.choices and value not in key.choices:
        near = nearest(value, key.choices)
        remedy = f"did you mean {near!r}?" if near else "choose one of them"
        return Slip("", repr(value), expectation(key), remedy)
    if key.default is REQUIRED and not value.strip():
        return Slip("", "empty text", key.meaning, f"fill in {key.name}")
    return None


def _number_slip(key: Key, value: Any) -> Slip | None:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        without = _is_numeric(value)
        remedy = f"write {value.strip()} without quotes" if without else "give a number"
    elif not _is_finite(value):
        remedy = "give a finite number" + ("; 0 means none" if key.low == 0 else "")
    elif key.type is Type.INTEGER and value != int(value):
        remedy = "give a whole number"
    elif not key.low <= value <= key.high:
        negative = value < 0 <= key.low
        remedy = "give a positive value" if negative else "check the value and its unit"
    else:
        return None
    return Slip("", show(value), expectation(key), remedy)


def expectation(key: Key) -> str:
    """Return what the key wants, in words."""
    if key.type is Type.CHOICE:
        return f"one of {', '.join(key.choices)}"
    if key.type is Type.TEXT:
        return key.type.value
    what = "a list of numbers, each" if key.type is Type.NUMBERS else key.type.value
    digits = ".15g" if key.type is Type.INTEGER else "g"
    return f"{what} from {key.low:{digits}} to {key.high:{digits}}"


def show(value: Any) -> str:
    """Return the value as a short text for a message."""
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _is_finite(value: float | int) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number beyond the range of a float
        return False


def _is_numeric(value: Any) -> bool:
    if not isinstance(value, str):
        return False
    try:
        float(value)
    except ValueError:
        return False
    return True
