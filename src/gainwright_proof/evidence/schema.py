"""JSON Schema of the evidence document."""

from __future__ import annotations

from typing import Any

from gainwright_proof.evidence.document import FORMAT, VERSION
from gainwright_proof.verdict import Verdict

_DIGEST = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
_VERDICT = {"enum": [verdict.value for verdict in Verdict]}
_NUMBERS = {"type": "object", "additionalProperties": {"type": "integer"}}


def _object(properties: dict[str, Any], *optional: str) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": [name for name in properties if name not in optional],
        "additionalProperties": False,
    }


def evidence_schema() -> dict[str, Any]:
    """Return the schema, draft 2020-12."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Evidence of a Gainwright proof",
        **_object(
            {
                "format": {"const": FORMAT},
                "version": {"const": VERSION},
                "trial": _object({"name": {"type": "string"}, "digest": _DIGEST}),
                "exported": _object(
                    {
                        "digest": _DIGEST,
                        "files": {"type": "object", "additionalProperties": _DIGEST},
                    }
                ),
                "tools": {"type": "object", "additionalProperties": {"type": "string"}},
                "counts": _NUMBERS,
                "one_way": {"type": "array", "items": {"type": "string"}},
                "exploration": {"anyOf": [_NUMBERS, {"type": "null"}]},
                "verdicts": {"type": "object", "additionalProperties": _VERDICT},
                "requirements": {"type": "array", "items": _requirement_line()},
                "findings": {"type": "array", "items": _finding()},
                "obligations": {"type": "object", "additionalProperties": _DIGEST},
                "assumptions": {"type": "array", "items": {"type": "string"}},
                "mutants": {"type": ["object", "null"]},
            }
        ),
    }


def _requirement_line() -> dict[str, Any]:
    count = {"type": ["integer", "null"], "minimum": 0}
    names = {"type": "array", "items": {"type": "string"}}
    return _object(
        {
            "hazard": {"type": "string"},
            "requirement": {"type": "string"},
            "verdict": _VERDICT,
            "proved_by": names,
            "premise": {"enum": ["seen", "not seen", "vacuous", "none"]},
            "premise_after_ticks": count,
            "longest_wait_ticks": count,
            "bound_ticks": count,
            "rows": {"anyOf": [names, {"type": "null"}]},
        }
    )


def _finding() -> dict[str, Any]:
    return _object(
        {
            "subject": {"type": "string"},
            "method": {"type": "string"},
            "verdict": _VERDICT,
            "detail": {"type": "string"},
            "figures": _NUMBERS,
            "obligations": {"type": "array", "items": {"type": "string"}},
            "counterexample": {"type": "object"},
        },
        "counterexample",
    )
