"""The table of inserted defects: each is inserted, and what noticed it stands beside it."""

from __future__ import annotations

import json
import sys

from gainwright_proof.inserted_defects.defect import ROOM
from gainwright_proof.inserted_defects.registry import REGISTRY


def report(as_json: bool = False) -> int:
    """Print the table; 0 if every defect is noticed, else 1."""
    entries = []
    for number, defect in enumerate(REGISTRY, 1):
        noticed = defect.noticed_by()
        entries.append({"name": defect.name, "kind": defect.kind, "place": defect.place,
                        "noticed_by": list(noticed)})  # fmt: skip
        if not as_json:
            shown = ", ".join(noticed[:ROOM]) + (" ..." if len(noticed) > ROOM else "")
            print(f"{number:3}  {defect.kind}: {defect.name}  [{defect.place}]")
            print(f"       {'noticed by ' + shown if noticed else 'NOT NOTICED'}", flush=True)
    missed = [entry for entry in entries if not entry["noticed_by"]]
    if as_json:
        print(json.dumps(entries, indent=2))
    else:
        print(f"{len(entries) - len(missed)} of {len(entries)} inserted defects noticed")
    sys.stdout.flush()
    return 1 if missed else 0
