"""A digest that ties a record or an export to the machine it was made for."""

from __future__ import annotations

import dataclasses
import hashlib
import json

from gainwright_sim.machine.model import Machine


def machine_digest(machine: Machine) -> str:
    """Return the SHA-256 (hex) of the machine's name and resolved SI values.

    Layout, comments, the order of keys and the texts for human readers do not count; neither
    does how a value was given (a belt in metres or the same chain in radians).
    """
    values = dataclasses.asdict(machine)
    del values["description"], values["origin"]
    for chain in (values["chain"], *(place["chain"] for place in values["situations"])):
        if chain["base"] is None:  # digests from before there were bases hold
            del chain["base"]
    sensor = values["load_sensor"]
    if sensor is not None and not sensor["mounting_hz"]:  # likewise, before there were brackets
        del sensor["mounting_hz"], sensor["mounting_damping_ratio"]
    text = json.dumps(values, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode("ascii")).hexdigest()
