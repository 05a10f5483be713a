"""Machine descriptions: one axis with its drive, in SI units, referred to the motor shaft."""

from gainwright_sim.machine.digest import machine_digest
from gainwright_sim.machine.load import (
    load_machine,
    machine_from_document,
    machine_path,
    mechanics_in_words,
    shipped_machine_names,
    shipped_machine_path,
)
from gainwright_sim.machine.model import (
    Brake,
    Chain,
    Disturbances,
    Drive,
    Friction,
    Harmonic,
    LoadSensor,
    Machine,
    Motion,
    SpeedLoop,
)
from gainwright_sim.machine.write import machine_toml

__all__ = [
    "Brake",
    "Chain",
    "Disturbances",
    "Drive",
    "Friction",
    "Harmonic",
    "LoadSensor",
    "Machine",
    "Motion",
    "SpeedLoop",
    "load_machine",
    "machine_digest",
    "machine_from_document",
    "machine_path",
    "machine_toml",
    "mechanics_in_words",
    "shipped_machine_names",
    "shipped_machine_path",
]
