"""How much strength has a leavener left? A bench gas test, with its interval.

The test: 60 mL of acidified water in a flask with a side arm and a tube to an inverted
measuring cylinder (never a closed vessel), a weighed amount of leavener, the volume of gas
when bubbling stops. Displaced water is acidified or salted, or it swallows gas. Set-up after
Miller, Food Chemistry: A Laboratory Manual, 2nd ed., experiment 2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.errors import NotPossible, TrialDataError
from analysis.leavening.gas import STANDARD_KPA, gas_ml


@dataclass(frozen=True, kw_only=True)
class Strength:
    """Share of the full strength left, with a t interval over the tests. ``expected_ml`` for each gram."""

    share: float
    low: float
    high: float
    tests: int
    expected_ml_per_g: float
    measured_ml_per_g: float


def remaining_strength(
    millilitres: Sequence[float],
    grams: Sequence[float],
    *,
    co2_mmol_per_g: float,
    celsius: float,
    kilopascal: float = STANDARD_KPA,
    dissolved_ml: float = 0.0,
    confidence: float = 0.95,
) -> Strength:
    """Compare measured gas with what fresh leavener gives.

    ``dissolved_ml``: gas the liquid kept in each test (see ``speciation``, case open). Raises
    TrialDataError for impossible numbers and NotPossible with fewer than two tests.
    """
    volume, mass = np.asarray(millilitres, dtype=float), np.asarray(grams, dtype=float)
    if len(volume) != len(mass) or not (np.all(volume >= 0) and np.all(mass > 0) and co2_mmol_per_g > 0):
        raise TrialDataError(
            "The gas test needs one volume of zero or more for each weighed gram.",
            where="gas test",
            try_this="check the pairs",
        )
    if len(volume) < 2:
        raise NotPossible(
            "One gas test has no spread, so it has no interval.", where="gas test", try_this="do it three times"
        )
    from scipy.special import stdtrit  # here, because a balance does without it

    expected = gas_ml(co2_mmol_per_g, celsius=celsius, kilopascal=kilopascal)
    shares = (volume + dissolved_ml) / mass / expected
    n = len(shares)
    half = float(stdtrit(n - 1, 0.5 + confidence / 2)) * float(shares.std(ddof=1)) / np.sqrt(n)
    mean = float(shares.mean())
    return Strength(
        share=mean,
        low=max(mean - half, 0.0),
        high=mean + half,
        tests=n,
        expected_ml_per_g=expected,
        measured_ml_per_g=mean * expected,
    )
