"""Reads hazards and requirements."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gainwright.described.nearest import suggestion
from gainwright.language.expression import Expression
from gainwright.language.model import (
    NEVER,
    EquivalentMutants,
    Hazard,
    Requirement,
    RequirementKind,
)
from gainwright.language.reader import Reader
from gainwright.language.scope import ANY_BOOLEAN, Scope

LONGEST_TICKS = 2**31 - 1
_TIMED = frozenset({RequirementKind.RESPONSE, RequirementKind.BOUNDED})
_OVER_A_TICK = frozenset({RequirementKind.STEP})


def read_hazards(reader: Reader) -> tuple[Hazard, ...]:
    return tuple(
        Hazard(name, entry.get("consequence", "")) for name, _, entry in reader.entries("hazards")
    )


def read_equivalent_mutants(reader: Reader) -> tuple[EquivalentMutants, ...]:
    return tuple(
        EquivalentMutants(name, tuple(entry.get("mutants", ())), entry.get("why", ""))
        for name, _, entry in reader.entries("equivalent_mutants")
    )


def read_requirements(reader: Reader, hazards: tuple[Hazard, ...]) -> tuple[Requirement, ...]:
    known = [hazard.id for hazard in hazards]
    requirements = []
    answered: set[str] = set()
    for name, place, entry in reader.entries("requirements"):
        hazard = entry.get("hazard", "")
        answered.add(hazard)
        if hazard and hazard not in known:
            reader.problems.add(
                f"{place}, hazard",
                f"the unknown hazard '{hazard}'",
                "a hazard of the trial",
                suggestion(hazard, known),
            )
        if (requirement := _requirement(reader, name, entry, place)) is not None:
            requirements.append(requirement)
    for hazard in known:
        if hazard not in answered:
            reader.problems.add(
                f"[hazards] {hazard}",
                "a hazard that no requirement answers",
                'at least one requirement with hazard = "' + hazard + '"',
                "add a requirement, or remove the hazard",
            )
    return tuple(requirements)


def _requirement(
    reader: Reader, name: str, entry: Mapping[str, Any], place: str
) -> Requirement | None:
    if "kind" not in entry or "formula" not in entry:
        return None
    kind = RequirementKind(entry["kind"])
    _check_keys(reader, kind, entry, place)
    formula = _formula(reader, entry["formula"], f"{place}, formula", kind in _OVER_A_TICK)
    trigger = None
    if "trigger" in entry and kind in _TIMED:
        over_a_tick = kind is RequirementKind.RESPONSE
        trigger = _formula(reader, entry["trigger"], f"{place}, trigger", over_a_tick)
    within: int | None = NEVER
    if "within_ticks" in entry and kind in _TIMED:
        where = f"{place}, within_ticks"
        within = reader.whole(entry["within_ticks"], where, low=1, high=LONGEST_TICKS)
    if formula is None or within is None:
        return None
    return Requirement(
        id=name,
        hazard=entry.get("hazard", ""),
        sentence=entry.get("sentence", ""),
        kind=kind,
        formula=formula,
        trigger=trigger,
        within_ticks=within,
        proved_by=entry.get("proved_by", ""),
        vacuous_because=entry.get("vacuous_because", ""),
    )


def _check_keys(
    reader: Reader, kind: RequirementKind, entry: Mapping[str, Any], place: str
) -> None:
    for key in ("trigger", "within_ticks"):
        if kind in _TIMED and key not in entry:
            reader.problems.add(
                place, f"no key '{key}'", f"{key} in a {kind.value} requirement", f"add {key}"
            )
        if kind not in _TIMED and key in entry:
            reader.problems.add(
                f"{place}, {key}",
                f"{key} in a requirement of kind {kind.value}",
                "it in kinds response and bounded only",
                "remove it, or change the kind",
            )


def _formula(reader: Reader, value: object, place: str, over_a_tick: bool) -> Expression | None:
    scope = _step_scope(reader) if over_a_tick else _invariant_scope(reader)
    expression, bounds = reader.expression(value, place, scope, ANY_BOOLEAN, requirement=True)
    if bounds is not None and bounds.constant:
        reader.problems.add(
            place,
            f"a formula that is always {'true' if bounds.low else 'false'} by the declared ranges",
            "a formula that says something",
            "correct it, or widen the range so that a mistake could show",
        )
    return expression


def _invariant_scope(reader: Reader) -> Scope:
    return reader.scope({**reader.variables, **reader.outputs}, "a formula without a tick")


def _step_scope(reader: Reader) -> Scope:
    kept = {**reader.variables, **reader.outputs}
    return reader.scope(
        {**reader.inputs, **kept, **reader.conditions}, "a formula over a tick", kept
    )
