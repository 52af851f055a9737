"""Between which limits does a difference of shares lie?

A difference of shares is put together from the limits of each share: the way of Newcombe (1998, Stat.
Med. 17, 873, method 10), carried to shares that belong together and to any weighted sum by Zou & Donner
(2008, Stat. Med. 27, 1693). A share's own limits are Wilson's (1927), on as many readings as its standard
error is worth, so that other factors, groups and scatter enter. No limit leaves what shares allow.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
TINY = 1e-12


def wilson(share: float, readings: float, factor: float) -> tuple[float, float]:
    """Limits of a share (0 ... 1) of ``readings`` (above 0); ``factor`` is 1.96 for 95 %."""
    f2 = factor**2
    centre = (share + f2 / (2 * readings)) / (1 + f2 / readings)
    half = factor / (1 + f2 / readings) * np.sqrt(share * (1 - share) / readings + f2 / (4 * readings**2))
    return max(float(centre - half), 0.0), min(float(centre + half), 1.0)


def worth(share: float, variance: float, seen: float) -> float:
    """Of how many readings a share with this variance would be; at most those ``seen``, where it is 0 or 1."""
    spread = share * (1 - share)
    return spread / variance if spread > TINY and variance > TINY * spread else seen


def put_together(
    weights: Floats, shares: Floats, limits: Sequence[tuple[float, float]], spread: Floats
) -> tuple[float, float]:
    """Limits of the sum of weights (k,) times shares (k,) with covariance ``spread`` (k, k).

    For two shares p1 - p2, each within l and u: low = p1 - p2 - sqrt(a² + b² - 2 r a b), a = p1 - l1, b = u2 - p2.
    """
    ends = np.array(limits)
    down, up = np.maximum(shares - ends[:, 0], 0.0), np.maximum(ends[:, 1] - shares, 0.0)
    errors = np.sqrt(np.maximum(np.diag(spread), 0.0))
    known = errors > 0
    together = np.eye(len(shares))
    both = np.outer(known, known)
    together[both] = np.clip(spread[both] / np.outer(errors, errors)[both], -1.0, 1.0)
    size = float(weights @ shares)
    below = weights * np.where(weights > 0, down, up)
    above = weights * np.where(weights > 0, up, down)
    return (
        size - float(np.sqrt(max(float(below @ together @ below), 0.0))),
        size + float(np.sqrt(max(float(above @ together @ above), 0.0))),
    )
