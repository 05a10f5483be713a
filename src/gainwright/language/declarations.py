"""Reads constants, inputs, variables, outputs and conditions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gainwright.described.nearest import suggestion
from gainwright.described.shape import said
from gainwright.described.table import read_table
from gainwright.language.expression import Expression
from gainwright.language.layout import ENUMERATION_VALUE
from gainwright.language.model import (
    Condition,
    Constant,
    Enumeration,
    EnumerationValue,
    Kind,
    Output,
    Signal,
    Variable,
)
from gainwright.language.reader import Reader
from gainwright.language.scope import ANY_BOOLEAN, Bounds


def read_constants(reader: Reader) -> tuple[Constant, ...]:
    constants = []
    for name, place, entry in reader.entries("constants"):
        if not reader.declare(name, "a constant", place):
            continue
        value = reader.whole(entry["value"], f"{place}, value") if "value" in entry else None
        if value is None:
            reader.broken_constants[name] = None
            continue
        reader.constants[name] = value
        constants.append(Constant(name, value, entry.get("unit", ""), entry.get("meaning", "")))
    return tuple(constants)


def read_enumerations(reader: Reader) -> tuple[Enumeration, ...]:
    """Return the enumerations; their value names become integers of a type of their own."""
    content = reader.document.get("enumerations", {})
    if not isinstance(content, dict):
        reader.problems.add(
            "[enumerations]", said(content), "a table", "write [enumerations.some_name]"
        )
        return ()
    enumerations = []
    for name, place, values in reader.named(content, "[enumerations]"):
        before = len(reader.problems)
        reader.declare(name, "an enumeration", place)
        read = _enumeration_values(reader, name, place, values)
        sound = len(reader.problems) == before
        reader.enumerations[name] = len(read) if sound else None
        if sound:
            enumerations.append(Enumeration(name, read))
    return tuple(enumerations)


def _enumeration_values(
    reader: Reader, enumeration: str, place: str, values: object
) -> tuple[EnumerationValue, ...]:
    if not isinstance(values, dict) or not values:
        reader.problems.add(
            place,
            "no value in it" if values == {} else said(values),
            'a table of its values: name = { words = "what it means" }',
            "add its values",
        )
        return ()
    read = []
    for name, where, entry in reader.named(values, f"[enumerations.{enumeration}]"):
        keys = read_table(entry, ENUMERATION_VALUE, where, reader.problems)
        if reader.declare(name, f"a value of the enumeration '{enumeration}'", where):
            reader.constants[name] = len(read)
            reader.enumeration_of[name] = enumeration
            read.append(EnumerationValue(name, keys.get("words", ""), keys.get("remedy", "")))
    return tuple(read)


def read_inputs(reader: Reader) -> tuple[Signal, ...]:
    inputs = []
    for name, place, entry in reader.entries("inputs"):
        if not reader.declare(name, "an input", place):
            continue
        bounds = reader.inputs[name] = _bounds(reader, entry, place)
        if bounds is not None:
            inputs.append(Signal(**_described(name, bounds, entry)))
    return tuple(inputs)


def read_variables(reader: Reader) -> tuple[Variable, ...]:
    variables = []
    for name, place, entry in reader.entries("variables"):
        if not reader.declare(name, "a variable", place):
            continue
        bounds = reader.variables[name] = _bounds(reader, entry, place)
        if bounds is None or "initial" not in entry:
            continue
        initial = _initial(reader, entry["initial"], bounds, f"{place}, initial")
        if initial is not None:
            variables.append(Variable(**_described(name, bounds, entry), initial=initial))
    return tuple(variables)


def read_outputs(reader: Reader) -> tuple[Output, ...]:
    outputs = []
    for name, place, entry in reader.entries("outputs"):
        if not reader.declare(name, "an output", place):
            continue
        bounds = reader.outputs[name] = _bounds(reader, entry, place)
        if bounds is None or "default" not in entry:
            continue
        default = output_value(reader, name, entry["default"], f"{place}, default")
        if default is not None:
            outputs.append(Output(**_described(name, bounds, entry), default=default))
    return tuple(outputs)


def output_value(reader: Reader, name: str, value: object, place: str) -> Expression | None:
    """Return the tree of an output's value, which may read variables and must stay in its range."""
    bounds = reader.outputs[name]
    if bounds is None:
        return None
    scope = reader.scope(reader.variables, "an output")
    expression, found = reader.expression(value, place, scope, bounds)
    if found is not None and (found.low < bounds.low or found.high > bounds.high):
        reader.problems.add(
            place,
            f"values from {found.low} to {found.high}",
            f"values inside the range of {name}, {bounds.low} to {bounds.high}",
            "limit the value with min and max, or widen the range",
        )
        return None
    return expression


def read_conditions(reader: Reader) -> tuple[Condition, ...]:
    conditions = []
    for name, place, entry in reader.entries("conditions"):
        if not reader.declare(name, "a condition", place):
            continue
        readable = {**reader.inputs, **reader.variables, **reader.conditions}
        reader.conditions[name] = None
        if "holds" not in entry:
            continue
        scope = reader.scope(readable, "a condition")
        where = f"{place}, holds"
        expression, bounds = reader.expression(entry["holds"], where, scope, ANY_BOOLEAN)
        if bounds is not None and bounds.constant:
            reader.problems.add(
                where,
                f"a condition that is always {'true' if bounds.low else 'false'}: {entry['holds']}",
                "a condition that can be true and false within the declared ranges",
                "correct the comparison or the range, or remove the condition",
            )
        elif expression is not None and reader.has_values(expression, scope):
            reader.conditions[name] = ANY_BOOLEAN
            conditions.append(Condition(name, expression, entry.get("meaning", "")))
    return tuple(conditions)


def _described(name: str, bounds: Bounds, entry: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "name": name,
        "kind": bounds.kind,
        "low": bounds.low,
        "high": bounds.high,
        "enumeration": bounds.enumeration,
        "unit": entry.get("unit", ""),
        "meaning": entry.get("meaning", ""),
    }


def _bounds(reader: Reader, entry: Mapping[str, Any], place: str) -> Bounds | None:
    kind = entry.get("kind")
    _check_keys_of_kind(reader, kind, entry, place)
    if kind == "boolean":
        return ANY_BOOLEAN
    if kind == "enumeration":
        return _bounds_of_enumeration(reader, entry, place)
    if kind is None:
        return None
    if "range" not in entry:
        reader.problems.add(
            place, "an integer without a range", "range = [low, high]", "add the range"
        )
        return None
    low, high = (reader.whole(end, f"{place}, range") for end in entry["range"])
    if low is None or high is None:
        return None
    if low > high:
        reader.problems.add(
            f"{place}, range", f"[{low}, {high}]", "the smaller value first", "swap the two"
        )
        return None
    return Bounds(Kind.INTEGER, low, high)


def _check_keys_of_kind(
    reader: Reader, kind: str | None, entry: Mapping[str, Any], place: str
) -> None:
    if kind not in (None, "integer") and "range" in entry:
        what = "a boolean value" if kind == "boolean" else "an enumeration"
        reader.problems.add(
            f"{place}, range",
            f"a range of {what}",
            "ranges of integers only",
            'remove the range, or write kind = "integer"',
        )
    if kind not in (None, "enumeration") and "of" in entry:
        reader.problems.add(
            f"{place}, of",
            f"of in a value of kind {kind}",
            "of in values of kind enumeration only",
            'remove it, or write kind = "enumeration"',
        )


def _bounds_of_enumeration(reader: Reader, entry: Mapping[str, Any], place: str) -> Bounds | None:
    name = entry.get("of")
    if name is None:
        reader.problems.add(
            place, "an enumeration without its name", 'of = "name"', 'add of = "name"'
        )
    elif name not in reader.enumerations:
        reader.problems.add(
            f"{place}, of",
            f"the unknown enumeration '{name}'",
            "an enumeration of the trial",
            suggestion(name, reader.enumerations),
        )
    elif count := reader.enumerations[name]:
        reader.read_names.add(name)
        return Bounds(Kind.INTEGER, 0, count - 1, name)
    return None


def _initial(reader: Reader, value: object, bounds: Bounds, place: str) -> int | None:
    scope = reader.scope({}, "an expression over constants")
    _, found = reader.expression(value, place, scope, bounds)
    if found is None:
        return None
    if not found.constant:
        reader.problems.add(
            place, f"{value}, which has no single value", "one value", "write the value"
        )
        return None
    if not bounds.low <= found.low <= bounds.high:
        reader.problems.add(
            place,
            f"the initial value {found.low}",
            f"a value inside the range, {bounds.low} to {bounds.high}",
            "choose a value inside, or widen the range",
        )
        return None
    return found.low
