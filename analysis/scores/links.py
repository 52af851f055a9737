"""How does a place on a hidden scale become a chance?

A link is a distribution: F(x) is the chance of lying below x, f its density, with the first two
derivatives of the density. Arguments may be minus or plus infinity (below the lowest and above the
highest score), where every derivative is 0.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, ndtr, ndtri

Floats = NDArray[np.float64]
Link = Literal["logit", "probit"]
LINKS: tuple[Link, ...] = ("logit", "probit")
ROOT_TWO_PI = float(np.sqrt(2 * np.pi))
FAR = 38.0  # a normal density beyond this is 0 in a double


def below(link: Link, x: Floats) -> Floats:
    """F(x)."""
    return np.asarray(expit(x) if link == "logit" else ndtr(x), dtype=np.float64)


def between(link: Link, u: Floats, v: Floats) -> Floats:
    """F(u) - F(v) without loss of digits in the upper tail, where both are near 1."""
    flip = u + v > 0
    return below(link, np.where(flip, -v, u)) - below(link, np.where(flip, -u, v))


def densities(link: Link, x: Floats) -> tuple[Floats, Floats, Floats]:
    """f, f', f'' at x."""
    if link == "logit":
        share = expit(x)
        f = share * expit(-x)
        return f, f * (1 - 2 * share), f * (1 - 6 * f)
    near = np.clip(x, -FAR, FAR)
    f = np.exp(-near * near / 2) / ROOT_TWO_PI
    return f, -near * f, (near * near - 1) * f


def quantile(link: Link, share: Floats) -> Floats:
    """x with F(x) = share, share in (0, 1)."""
    return np.asarray(np.log(share / (1 - share)) if link == "logit" else ndtri(share), dtype=np.float64)
