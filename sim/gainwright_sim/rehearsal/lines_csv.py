"""Lines of a table, each a dataclass, as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import fields
from typing import Any


def lines_csv(kind: type, lines: Iterable[Any]) -> str:
    """Return a header with the fields of a dataclass, and a line for each of its instances.

    Numbers are written with nine digits, tuples with blanks between, nothing for None.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    names = [field.name for field in fields(kind)]
    writer.writerow(names)
    writer.writerows([_text(getattr(line, name)) for name in names] for line in lines)
    return stream.getvalue()


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, tuple):
        return " ".join(value)
    return f"{value:.9g}" if isinstance(value, float) else str(value)
