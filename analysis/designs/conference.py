"""In which square of -1, 0 and 1 is every row different from every other in half of its places?

A conference matrix C of order m has zeros on its diagonal, -1 and 1 elsewhere, and
C'C = (m - 1) I. For m - 1 an odd prime power, Paley's construction from the squares of the
field of m - 1 elements (Paley 1933, J. Mathematics and Physics 12:311); for order 16, twice
the skew matrix of order 8.
"""

from __future__ import annotations

import numpy as np

from analysis.designs.columns import Floats

LARGEST_ORDER = 20
NINE = 9


def conference_matrix(order: int) -> Floats:
    """(order, order), for an even order from 4 to 20."""
    if order == 16:
        return _doubled(_paley(8))
    return _paley(order)


def _paley(order: int) -> Floats:
    """Bordered by ones; symmetric when order - 1 leaves 1 after division by 4, else skew."""
    size = order - 1
    signs = _signs_of_nine() if size == NINE else _signs_of_prime(size)
    matrix = np.zeros((order, order))
    matrix[0, 1:] = 1.0
    matrix[1:, 0] = 1.0 if size % 4 == 1 else -1.0
    matrix[1:, 1:] = signs
    return matrix


def _signs_of_prime(prime: int) -> Floats:
    """[i, j]: 1 when i - j is a square modulo the prime, 0 when i = j, else -1."""
    squares = {value * value % prime for value in range(1, prime)}
    signs = [0.0, *(1.0 if value in squares else -1.0 for value in range(1, prime))]
    return np.array([[signs[(i - j) % prime] for j in range(prime)] for i in range(prime)])


def _signs_of_nine() -> Floats:
    """The same in the field of nine elements a + b i, with a and b modulo 3 and i i = -1."""
    elements = [(a, b) for a in range(3) for b in range(3)]
    squares = {((a * a - b * b) % 3, 2 * a * b % 3) for a, b in elements} - {(0, 0)}

    def sign(one: tuple[int, int], other: tuple[int, int]) -> float:
        difference = ((one[0] - other[0]) % 3, (one[1] - other[1]) % 3)
        return 0.0 if difference == (0, 0) else 1.0 if difference in squares else -1.0

    return np.array([[sign(one, other) for other in elements] for one in elements])


def _doubled(skew: Floats) -> Floats:
    """A skew conference matrix of twice the order."""
    one = np.eye(len(skew))
    return np.block([[skew, skew + one], [skew - one, -skew]])
