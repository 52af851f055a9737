"""How are numbers below 4 or 8 multiplied so that every one but nothing can be divided by?

Fields of 2^n elements: numbers are polynomials over two elements, bit by bit; adding is exclusive or.
"""

from __future__ import annotations

# Size -> the remainder that x^n leaves (x^2 = x + 1, x^3 = x + 1).
FIELDS = {4: 0b11, 8: 0b011}


def times(one: int, other: int, size: int) -> int:
    """Product of two numbers from 0 to ``size`` - 1 in the field of that size."""
    out = 0
    while one:
        if one & 1:
            out ^= other
        one >>= 1
        other <<= 1
        if other & size:
            other ^= size | FIELDS[size]
    return out
