"""Which species does each acid have, laid out so that many mixtures are computed at once?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.leavening.arrays import Array
from analysis.leavening.constants import ACIDS, pk_at

LN10 = float(np.log(10.0))


@dataclass(frozen=True)
class Systems:
    """Species of all systems as padded arrays: axis 0 system, 1 protons lost, 2 mixture.

    ``log_beta``: log10 of the overall constant of losing so many protons (-inf where an acid
    has fewer than the widest), ``lost``: how many. The mixtures lie along the last axis, where
    sums over the few species run as long rows.
    """

    totals: Array  # (s, n)
    log_beta: Array  # (s, k, n)
    charge: Array  # (s, k, 1)
    lost: Array  # (1, k, 1)


def stacked(acids: Mapping[str, Array], kelvin: Array) -> Systems:
    """The acid systems of n mixtures, ``acids`` being the total of each in mol/kg."""
    names = list(acids)
    widest = 1 + max((len(ACIDS[name].pk) for name in names), default=0)
    count = len(kelvin)
    log_beta = np.full((len(names), widest, count), -np.inf)
    charge = np.zeros((len(names), widest, 1))
    totals = np.zeros((len(names), count))
    for index, name in enumerate(names):
        system = ACIDS[name]
        steps = len(system.pk)
        log_beta[index, 0] = 0.0
        log_beta[index, 1 : steps + 1] = -np.cumsum(pk_at(system, kelvin), axis=1).T
        charge[index, : steps + 1, 0] = system.charge - np.arange(steps + 1)
        totals[index] = acids[name]
    return Systems(totals, log_beta, charge, np.arange(widest, dtype=float)[None, :, None])


def ten_to(exponent: Array) -> Array:
    """Powers of ten, taken as exp because that is several times faster over arrays."""
    return np.exp(LN10 * exponent)
