"""The exponential that every plant is made with: right to the last bit, so the same everywhere."""

from __future__ import annotations

import os
import subprocess
import sys
from decimal import Decimal, localcontext

import numpy as np
import pytest
from scipy.linalg import expm

from gainwright_sim.machine import load_machine
from gainwright_sim.plant.discrete import discretise_machine
from gainwright_sim.plant.matrix_exponential import matrix_exponential


@pytest.mark.parametrize("value", [0.0, 1.0, -1.0, 0.1, 1e-9, -37.25, 300.0])
def test_of_one_number_it_is_the_exponential_rounded_right(value):
    with localcontext(prec=200):
        exact = float(Decimal(value).exp())
    assert matrix_exponential(np.array([[value]])) == [[exact]]


def test_a_rotation_and_a_shear():
    turned = matrix_exponential(np.array([[0.0, 2.0], [-2.0, 0.0]]))
    # Of 1, OEIS A049470 and A049469; of 2 by the formulas for the double angle.
    cosine_1 = Decimal("0.540302305868139717400936607442976603732310420617922227670097")
    sine_1 = Decimal("0.841470984807896506652502321630298999622563060798371065672752")
    with localcontext(prec=60):
        cosine, sine = float(2 * cosine_1**2 - 1), float(2 * sine_1 * cosine_1)
    assert turned.tolist() == [[cosine, sine], [-sine, cosine]]
    shear = matrix_exponential(np.array([[0.0, 3.0, 0.0], [0.0, 0.0, 4.0], [0.0, 0.0, 0.0]]))
    assert shear.tolist() == [[1.0, 3.0, 6.0], [0.0, 1.0, 4.0], [0.0, 0.0, 1.0]]


def test_it_agrees_with_a_library():
    numbers = np.random.default_rng(2)
    for size in (2, 5, 9):
        for scale in (1e-3, 1.0, 30.0):
            matrix = scale * numbers.standard_normal((size, size))
            expected = expm(matrix)
            error = np.abs(matrix_exponential(matrix) - expected).max()
            assert error < 1e-11 * np.abs(expected).max()


def bits() -> str:
    plant = discretise_machine(load_machine("door-hoist"))
    return plant.a.tobytes().hex() + plant.motor.tobytes().hex()


@pytest.mark.slow
def test_another_processor_gives_the_same_bits():
    """A library of linear algebra is told to work as on another processor, where it can be told."""
    code = "from tests.gainwright_sim.test_matrix_exponential import bits; print(bits())"
    for kind in ("HASWELL", "NEHALEM"):
        environment = {**os.environ, "OPENBLAS_CORETYPE": kind,
                       "PYTHONPATH": os.pathsep.join(["", *sys.path])}  # fmt: skip
        done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True,
                              text=True, check=True)  # fmt: skip
        assert done.stdout.strip() == bits()
