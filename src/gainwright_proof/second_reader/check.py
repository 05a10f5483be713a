"""What the second reader finds about a trial, as a finding beside the others."""

from __future__ import annotations

import importlib.metadata
from collections.abc import Mapping
from itertools import islice
from typing import Any

from gainwright.language.model import Trial
from gainwright_proof.methods import SECOND_READER
from gainwright_proof.second_reader import READERS_AGREE as SUBJECT
from gainwright_proof.second_reader.comparison import (
    TICKS_PER_ROW,
    differences,
    expression_count,
)
from gainwright_proof.second_reader.reading import KNOWN_TABLES, read
from gainwright_proof.verdict import Finding, Verdict

_MOST_SHOWN = 3


def second_reading(trial: Trial, document: Mapping[str, Any] | None) -> Finding:
    """Return whether a second reader understands the same trial.

    Args:
        trial: as the first reader understood the file.
        document: the file, parsed as TOML; None if the trial is from no file.
    """
    if document is None:
        text = "The trial was not read from a file, so there is nothing to read twice."
        return Finding(SUBJECT, SECOND_READER, Verdict.NOT_RUN, text)
    method = f"{SECOND_READER} (lark {importlib.metadata.version('lark')})"
    unknown = [table for table in document if table not in KNOWN_TABLES]
    if unknown:
        text = f"Tables that the second reader does not know: {', '.join(unknown)}."
        return Finding(SUBJECT, method, Verdict.UNFINISHED, text)
    try:
        reading = read(document)
    except Exception as error:  # it must not end the proof: whatever it is, the readers disagree
        text = f"The second reader cannot read the file: {type(error).__name__}: {error}"
        return Finding(SUBJECT, method, Verdict.REFUTED, text)
    found = list(islice(differences(trial, reading), _MOST_SHOWN))
    ticks = len(trial.rows) * TICKS_PER_ROW
    figures = {"expressions": expression_count(trial), "ticks_compared": ticks}
    if found:
        return Finding(SUBJECT, method, Verdict.REFUTED, "; ".join(found), figures=figures)
    text = (
        f"Two independent readers have the same trees of {figures['expressions']} expressions, the "
        f"same names, numbers and rows, and take the same {ticks:,} ticks."
    )
    return Finding(SUBJECT, method, Verdict.PROVED, text, figures=figures)
