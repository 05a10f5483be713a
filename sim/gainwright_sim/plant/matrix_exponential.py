"""The exponential of a small matrix, to the last bit the same on every computer.

Libraries of linear algebra pick their routines by the processor, and these differ in the last bit.
A loop beyond its limit magnifies that until one computer says "limited by noise" where another says
"finished". So this is computed with whole numbers, and rounded once, at the end.
"""

from __future__ import annotations

import numpy as np

from gainwright_sim.plant.chain import Matrix

_FRACTION_BITS = 256
_SMALL_BITS = 8
"""The series is summed of a matrix whose norm is below 2^-8: some 30 terms."""

_Rows = list[list[int]]
"""Elements times 2^256."""


def matrix_exponential(matrix: Matrix) -> Matrix:
    """Return exp of a square matrix of finite elements.

    Scaling and squaring of the Taylor series (Moler, Van Loan 2003, SIAM Review 45(1):3, method 3;
    cited from memory), here with so many bits that its rounding does not matter.
    """
    halvings = _halvings(matrix)
    scaled = [[_fixed(float(x), halvings) for x in row] for row in matrix]
    size = len(scaled)
    term = [[(i == k) << _FRACTION_BITS for k in range(size)] for i in range(size)]
    result, number = [row.copy() for row in term], 0
    while any(map(any, term)):
        number += 1
        # Towards zero: a negative remainder would never end otherwise.
        term = [[_divided(x, number) for x in row] for row in _product(term, scaled)]
        result = [[a + b for a, b in zip(*rows, strict=True)]
                  for rows in zip(result, term, strict=True)]  # fmt: skip
    for _ in range(halvings):
        result = _product(result, result)
    return np.array([[x / (1 << _FRACTION_BITS) for x in row] for row in result])


def _halvings(matrix: Matrix) -> int:
    norm = max(sum(abs(float(x)) for x in row) for row in matrix)
    return max(0, int(norm).bit_length() + _SMALL_BITS)


def _fixed(value: float, halvings: int) -> int:
    numerator, denominator = value.as_integer_ratio()
    return _divided(numerator << _FRACTION_BITS, denominator << halvings)


def _divided(numerator: int, denominator: int) -> int:
    quotient = abs(numerator) // denominator
    return quotient if numerator >= 0 else -quotient


def _product(left: _Rows, right: _Rows) -> _Rows:
    columns = list(zip(*right, strict=True))
    return [
        [
            _divided(sum(row[k] * column[k] for k in filled), 1 << _FRACTION_BITS)
            for column in columns
        ]
        for row in left
        for filled in [[k for k, x in enumerate(row) if x]]
    ]
