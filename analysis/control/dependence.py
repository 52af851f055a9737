"""Does a batch take after the one before, and what does that do to the limits?

Limits from moving ranges stand too near when neighbours are alike: false alarms multiply. How alike they
are is the correlation of each batch with the next (lag 1), with an interval. When they are, two charts
keep the promise: residuals, what a batch differs from what the one before foretold (an
autoregression of order 1), and limits widened to the whole spread. Which of them comes nearest to
independent batches is simulated for the correlation and number of batches at hand.

A step or a drift also makes neighbours alike. The caution therefore asks for a cause first.

Sources: Kendall 1954, Biometrika 41:403, for the bias of the correlation; Alwan and Roberts 1988, J.
Business and Economic Statistics 6:87, for charts of residuals.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.control.constants import SIGMAS, constants

Floats = NDArray[np.float64]
Method = Literal["plain", "residuals", "widened"]

FEWEST = 12  # batches; fewer say nothing about how neighbours go together
STRONGEST = 0.95  # a stronger memory is a wandering level, not a stable one
_EXTRA = 10.0  # of the variance in small series, in phi^2 / n^2: from our own simulations (n 20 to 100, phi to 0.8)
_NORMAL = 1.959964
_CHARTS = 4000
_SEED = 20_260_208
_MOST_BATCHES = 200  # of a simulated chart


@dataclass(frozen=True, kw_only=True)
class Dependence:
    """``lag1``: correlation of a batch with the next, freed of its bias; 95 % interval ``low`` to ``high``.

    ``verdict``: "alike" (interval above 0), "opposed" (below 0), "none seen", "too few".
    """

    lag1: float
    low: float
    high: float
    batches: int
    verdict: str

    @property
    def seen(self) -> bool:
        return self.verdict in ("alike", "opposed")


@dataclass(frozen=True, kw_only=True)
class FalseAlarms:
    """False alarms in 100 batches, points outside the limits alone, with limits from the batches themselves."""

    plain: float
    residuals: float
    widened: float
    independent: float  # what plain limits give when batches do not depend on one another

    def best(self) -> Method:
        """The way whose rate is nearest to that of independent batches."""
        rates: dict[Method, float] = {"residuals": self.residuals, "widened": self.widened}
        return min(rates, key=lambda method: abs(rates[method] - self.independent))


def dependence_of(values: Floats) -> Dependence:
    """How alike neighbours are; ``values`` (batches,) in order of baking.

    The interval holds every phi that r agrees with: |r - phi + (1 + 4 phi) / n| < 1.96 sd(phi), where
    sd^2 = (1 - phi^2) / n + 10 phi^2 / n^2. Its coverage is 94 to 97 % for n 20 to 100 and phi 0 to 0.8.
    """
    n = len(values)
    if n < FEWEST or np.ptp(values) <= 1e-12 * float(np.abs(values).max()):
        return Dependence(lag1=0.0, low=-1.0, high=1.0, batches=n, verdict="too few")
    away = values - values.mean()
    whole = float(away @ away)
    r = float(away[1:] @ away[:-1]) / whole
    low, high = _interval(r, n)
    verdict = "alike" if low > 0 else "opposed" if high < 0 else "none seen"
    return Dependence(lag1=freed(r, n), low=low, high=high, batches=n, verdict=verdict)


def freed(r: float, n: int) -> float:
    """The correlation without its bias of -(1 + 4 phi) / n."""
    return min(max((n * r + 1) / (n - 4), -STRONGEST), STRONGEST)


def _interval(r: float, n: int) -> tuple[float, float]:
    phi = np.linspace(-0.999, 0.999, 3997)
    sd = np.sqrt((1 - phi**2) / n + _EXTRA * phi**2 / n**2)
    agrees = phi[np.abs(r - phi + (1 + 4 * phi) / n) < _NORMAL * sd]
    if not len(agrees):  # stronger than any correlation a stable level can have
        return (STRONGEST, 1.0) if r > 0 else (-1.0, -STRONGEST)
    return float(agrees[0]), float(agrees[-1])


def theory_of_plain(phi: float) -> float:
    """False alarms in 100 batches of plain limits, were the moving ranges known: 200 Phi(-3 sqrt(1 - phi))."""
    return 100 * math.erfc(SIGMAS * math.sqrt(1 - phi) / math.sqrt(2))


def false_alarms(lag1: float, batches: int) -> FalseAlarms:
    """Simulated from a fixed seed for this correlation (to two decimals) and this many batches (at most 200)."""
    return _simulated(round(min(max(lag1, -STRONGEST), STRONGEST), 2), min(max(batches, FEWEST), _MOST_BATCHES))


@lru_cache(maxsize=64)
def _simulated(phi: float, n: int) -> FalseAlarms:
    random = np.random.Generator(np.random.PCG64(_SEED))
    noise = random.standard_normal((n, _CHARTS))
    x = np.empty((n, _CHARTS))
    x[0] = noise[0] / math.sqrt(1 - phi**2)
    for t in range(1, n):
        x[t] = phi * x[t - 1] + noise[t]
    away = x - x.mean(axis=0)
    r = (away[1:] * away[:-1]).sum(axis=0) / (away**2).sum(axis=0)
    each = np.clip((n * r + 1) / (n - 4), -STRONGEST, STRONGEST)
    spread = _moving(away)
    residuals = away[1:] - each * away[:-1]
    return FalseAlarms(
        plain=_rate(away, spread),
        residuals=_rate(residuals - residuals.mean(axis=0), _moving(residuals)),
        widened=_rate(away, spread / np.sqrt(1 - each)),
        independent=_rate(noise - noise.mean(axis=0), _moving(noise)),
    )


def _moving(x: Floats) -> Floats:
    """Standard deviation from moving ranges of each simulated chart, (charts,)."""
    return np.asarray(np.abs(np.diff(x, axis=0)).mean(axis=0) / constants(2).d2)


def _rate(away: Floats, spread: Floats) -> float:
    return 100 * float(np.mean(np.abs(away) > SIGMAS * spread))
