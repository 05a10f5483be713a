"""The exponential of a small matrix, to the last bit the same on every computer.

Libraries of linear algebra pick their routines by the processor, and these differ in the last bit.
A loop beyond its limit magnifies that until one computer says "limited by noise" where another says
"finished". So this is computed with whole numbers, and rounded once, at the end.
"""

from __future__ import annotations

import math

import numpy as np

from gainwright_sim.plant.chain import Matrix

_BITS = 160
"""Of a fraction: 53 are kept, and hardly 30 are lost to rounding and squaring."""
_SMALL_BITS = 10
"""The series is summed of a matrix whose norm is below 2^-10 ..."""
_BLOCKS = 5
"""... in so many blocks of three terms: what is left out is below 2^-190."""

_ROUNDS = 4
"""Of balancing; more would change little."""

_Rows = list[list[int]]
"""Elements times 2^160."""


def matrix_exponential(matrix: Matrix) -> Matrix:
    """Return exp of a square matrix of finite elements.

    Scaling and squaring of the Taylor series (Moler, Van Loan 2003, SIAM Review 45(1):3, method 3;
    cited from memory), here with so many bits that its rounding does not matter.
    """
    rows = [[float(x) for x in row] for row in matrix]
    shifts = _balance(rows)
    norm = max(sum(abs(x) for x in row) for row in rows)
    halvings = max(0, math.frexp(norm)[1] + _SMALL_BITS)
    result = _series([[_fixed(x, halvings) for x in row] for row in rows])
    for _ in range(halvings):
        result = _product(result, result)
    return np.array(
        [
            [
                math.ldexp(x / (1 << _BITS), left - right)
                for x, right in zip(row, shifts, strict=True)
            ]
            for row, left in zip(result, shifts, strict=True)
        ]
    )


def _balance(rows: list[list[float]]) -> list[int]:
    """Scale each row and, inversely, its column by a power of two until they are alike in size.

    The eigenvalues stay, and far fewer squarings are needed where angles and speeds differ by their
    frequency. Returns the exponents: element (i, k) of the original is that of the balanced matrix
    times 2^(exponent of i - exponent of k).
    """
    size = len(rows)
    shifts = [0] * size
    for _ in range(_ROUNDS):
        for i in range(size):
            row = max((abs(rows[i][k]) for k in range(size) if k != i), default=0.0)
            column = max((abs(rows[k][i]) for k in range(size) if k != i), default=0.0)
            by = int((math.frexp(row)[1] - math.frexp(column)[1]) / 2)
            if row and column and by:
                shifts[i] += by
                rows[i] = [x if k == i else math.ldexp(x, -by) for k, x in enumerate(rows[i])]
                for k in range(size):
                    if k != i:
                        rows[k][i] = math.ldexp(rows[k][i], by)
    return shifts


def _series(small: _Rows) -> _Rows:
    """Return the sum of small^n / n!, three terms at once."""
    square = _product(small, small)
    cube, result = _product(square, small), [[0] * len(small) for _ in small]
    for block in reversed(range(_BLOCKS)):
        # result = result cube / ((n + 1) (n + 2) (n + 3)) + 1 + small / (n + 1) + ..., n = 3 block
        n = 3 * block
        first, second = n + 1, (n + 1) * (n + 2)
        above = _product(result, cube)
        result = [
            [
                (i == k) * (1 << _BITS) + a // first + b // second + c // (second * (n + 3))
                for k, (a, b, c) in enumerate(zip(*row, strict=True))
            ]
            for i, row in enumerate(zip(small, square, above, strict=True))
        ]
    return result


def _fixed(value: float, halvings: int) -> int:
    numerator, denominator = value.as_integer_ratio()
    return (numerator << _BITS) // (denominator << halvings)


def _product(left: _Rows, right: _Rows) -> _Rows:
    columns = list(zip(*right, strict=True))
    result = []
    for row in left:
        filled = [k for k, x in enumerate(row) if x]
        result.append([sum([row[k] * column[k] for k in filled]) >> _BITS for column in columns])
    return result
