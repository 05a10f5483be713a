"""The record of a rehearsal: a folder with inputs, seed, digests, rung table, signals, picture."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from gainwright.language.model import Signal, Trial
from gainwright.result_folder import result_folder
from gainwright_sim.rehearsal.lines_csv import lines_csv
from gainwright_sim.rehearsal.load_picture import save_load_picture
from gainwright_sim.rehearsal.outcome import OUTCOMES
from gainwright_sim.rehearsal.picture import save_picture
from gainwright_sim.rehearsal.rehearse import Rehearsal
from gainwright_sim.rehearsal.response_picture import save_response_picture
from gainwright_sim.rehearsal.responses import save_responses
from gainwright_sim.rehearsal.rungs import RungLine, rung_table
from gainwright_sim.rehearsal.summary import Summary
from gainwright_sim.rehearsal.words import CAUTION, FILES
from gainwright_sim.rig.log import SIGNALS


def write_record(
    directory: str | Path,
    rehearsal: Rehearsal,
    summary: Summary,
    trial_file: Path,
    description: bytes,
    force: bool = False,
) -> None:
    """Write the record of a rehearsal to a folder, whole or not at all.

    Args:
        directory: where to.
        rehearsal: what happened.
        summary: of the same.
        trial_file: the specification as it was read.
        description: the machine description as its file holds it.
        force: as :func:`gainwright.result_folder.result_folder`.

    Raises:
        InputError: as :func:`gainwright.result_folder.result_folder`.
    """
    with result_folder(directory, force=force) as folder:
        fill_record(folder, rehearsal, summary, trial_file, description)


def fill_record(
    folder: Path, rehearsal: Rehearsal, summary: Summary, trial_file: Path, description: bytes
) -> None:
    """Write the files of a record to a folder that is there; arguments as :func:`write_record`."""
    (folder / "trial.toml").write_bytes(trial_file.read_bytes())
    (folder / "machine.toml").write_bytes(description)
    write_json(folder / "summary.json", summary.as_json())
    for table in rehearsal.tables:
        lines = rung_table(rehearsal, table)
        (folder / f"rungs-{table.stage.name}.csv").write_text(
            lines_csv(RungLine, lines), encoding="utf-8", newline=""
        )
    _write_signals(folder / "signals.npz", rehearsal)
    save_picture(folder / "rehearsal.png", rehearsal, summary)
    save_load_picture(folder / "load-decay.png", summary)
    save_response_picture(folder / "loop-response.png", rehearsal, summary)
    if OUTCOMES[summary.outcome].has_result:
        save_responses(folder / "responses.png", rehearsal)
    (folder / "README.txt").write_text(f"{FILES}\n{CAUTION}\n", encoding="utf-8")


def write_json(path: Path, data: Mapping[str, Any]) -> None:
    """Write a result for programs to read."""
    path.write_text(json.dumps(data, indent=2, allow_nan=False) + "\n", encoding="utf-8")


def _write_signals(path: Path, rehearsal: Rehearsal) -> None:
    """One array per signal, one value per sequencer tick; ``time_s`` is when the tick took place.

    ``.npz`` stamps its members with the same date always, so equal rehearsals give equal bytes.
    """
    log, trial = rehearsal.log, rehearsal.trial
    arrays = {"time_s": np.arange(len(log)) * trial.tick_us * 1e-6}
    arrays |= {name + _SUFFIXES[unit]: log.signal(name) for name, unit in SIGNALS}
    arrays["state"] = np.array([state.name for state in trial.states])[log.state]
    arrays["row"] = np.array([row.id for row in trial.rows])[log.row]
    for group, table in (
        (trial.inputs, log.inputs),
        (trial.variables, log.variables),
        (trial.outputs, log.outputs),
    ):
        arrays |= {
            signal.name: _named(trial, signal, table[:, k]) for k, signal in enumerate(group)
        }
    np.savez_compressed(path, **arrays)


def _named(trial: Trial, signal: Signal, values: np.ndarray) -> np.ndarray:
    """Return the values of an enumeration by their names, all others as they are."""
    if not signal.enumeration:
        return values
    names = [value.name for value in trial.enumeration(signal.enumeration).values]
    return np.array(names)[values]


_SUFFIXES = {"rad": "_rad", "rad/s": "_rad_per_s", "N m": "_nm", "rung": "_rung", "1": "",
             "1/s": "_per_s", "Hz": "_hz"}  # fmt: skip
"""Of a signal's name, by its unit."""
