"""What may stand at a key: whether a value fits, what to say if not, and its JSON Schema."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from gainwright.described.nearest import nearest

LONGEST_SHOWN = 60


class Slip(NamedTuple):
    """What is wrong with a value; ``at`` is the index in a list, as ``[2]``, or empty."""

    at: str
    found: str
    expected: str
    remedy: str


def said(value: object) -> str:
    """Say a TOML value of the wrong type."""
    match value:
        case bool():
            return str(value).lower()
        case float() if math.isnan(value):
            return "not a number (nan)"
        case float():
            return f"the decimal number {value}"
        case int():
            return f"the integer {value}"
        case str() if not value.strip():
            return "an empty text"
        case str():
            return f"the text '{shortened(value)}'"
        case dict():
            return "a table"
        case list():
            return f"a list of {len(value)}"
    return f"a date or time ({value})"


def shortened(text: str) -> str:
    """Return a text short enough for a message."""
    return text if len(text) <= LONGEST_SHOWN else f"{text[: LONGEST_SHOWN - 3]}..."


@dataclass(frozen=True, slots=True)
class ValueShape:
    """One kind of value."""

    expected: str
    """In words, for messages."""
    schema: Mapping[str, Any]
    """JSON Schema of the value."""
    accepts: Callable[[Any], bool]
    remedy: Callable[[Any], str] | str
    """How to write it; given the wrong value if it depends on that."""
    found: Callable[[Any], str] = said
    """Says a wrong value, where its type alone does not say enough."""
    typed: Callable[[Any], Any] = lambda value: value
    """The value in its Python type, if it fits."""

    def slips(self, value: object) -> list[Slip]:
        """Return what is wrong with a value; empty if it fits."""
        if self.accepts(value):
            return []
        remedy = self.remedy if isinstance(self.remedy, str) else self.remedy(value)
        return [Slip("", self.found(value), self.expected, remedy)]


@dataclass(frozen=True, slots=True)
class ListShape:
    """A list of values of one shape; each wrong one is reported by its place."""

    item: ValueShape
    most: int
    """For the schema; the reader of the file knows better what to leave out of a longer list."""
    remedy: Callable[[Any], str] | str

    @property
    def expected(self) -> str:
        return f"a list, each {self.item.expected}"

    def typed(self, value: Any) -> tuple[Any, ...]:
        return tuple(map(self.item.typed, value))

    @property
    def schema(self) -> Mapping[str, Any]:
        return {"type": "array", "maxItems": self.most, "items": dict(self.item.schema)}

    def slips(self, value: object) -> list[Slip]:
        if not isinstance(value, list):
            remedy = self.remedy if isinstance(self.remedy, str) else self.remedy(value)
            return [Slip("", said(value), self.expected, remedy)]
        return [
            slip._replace(at=f"[{place}]")
            for place, item in enumerate(value)
            for slip in self.item.slips(item)
        ]


Shape = ValueShape | ListShape


def is_integer(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def is_number(value: object) -> bool:
    """Return whether a value is a finite number; integers beyond the range of floats are not."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:
        return False


def is_text(value: object) -> bool:
    """Return whether a value is a text with something in it."""
    return isinstance(value, str) and bool(value.strip())


def choice(*words: str) -> ValueShape:
    """Return one of some words."""

    def remedy(value: object) -> str:
        near = nearest(value, words) if isinstance(value, str) else None
        return f"did you mean '{near}'?" if near else "choose one of these"

    return ValueShape(
        f"one of {', '.join(words)}", {"enum": list(words)}, lambda value: value in words, remedy
    )


def number(low: float, high: float) -> ValueShape:
    """Return a number from ``low`` to ``high``, both included."""
    return _ranged("a number", "number", low, high, f"{low:g} to {high:g}", is_number, float)


def whole_number(low: float, high: float) -> ValueShape:
    """Return a whole number from ``low`` to ``high``, both included; 3.0 is one."""

    def is_whole(value: Any) -> bool:
        return is_number(value) and value == int(value)

    text = f"{low:.15g} to {high:.15g}"
    return _ranged("a whole number", "integer", low, high, text, is_whole, int)


def _ranged(
    what: str,
    json_type: str,
    low: float,
    high: float,
    text: str,
    fits: Callable[[Any], bool],
    typed: Callable[[Any], Any],
) -> ValueShape:
    def remedy(value: Any) -> str:
        if isinstance(value, str) and _is_numeric(value):
            return f"write {value.strip()} without quotes"
        if not isinstance(value, int | float) or isinstance(value, bool):
            return "give a number"
        if not is_number(value):
            return "give a finite number" + ("; 0 means none" if low == 0 else "")
        if not fits(value):
            return "give a whole number"
        return "give a positive value" if value < 0 <= low else "check the value and its unit"

    return ValueShape(
        f"{what} from {text}",
        {"type": json_type, "minimum": low, "maximum": high},
        lambda value: fits(value) and low <= value <= high,
        remedy,
        typed=typed,
    )


def _is_numeric(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def object_schema(
    properties: Mapping[str, Any], required: Sequence[str], meaning: str = ""
) -> dict[str, Any]:
    """Return the JSON Schema of a table with these keys and no others."""
    described = {"description": meaning} if meaning else {}
    return {
        "type": "object",
        **described,
        "properties": dict(properties),
        "required": list(required),
        "additionalProperties": False,
    }
