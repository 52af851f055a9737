"""When does the gas come: in the bowl, on the bench or in the oven?

Shares of the carbon dioxide that an acid can free, by stage: two minutes of mixing, ten
to fifteen minutes on the bench, and the oven. "Dough rate of reaction" sheets define
their figure differently (2, 3 or 8 minutes), so the protocol stands beside the number.
All figures vary with flour, milk, fat, stirring and temperature: one determination has a
standard error of 0.5 to 1.2 points (Parks, Handleman, Barnett & Wright 1960, Cereal Chem.
37, 503).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from analysis.errors import TrialDataError
from analysis.leavening.arrays import Array
from analysis.leavening.substances import Sureness

MIXING_MIN, BENCH_MIN = 2.0, 12.0
BENCH_MINUTES = (0.0, 1.0, 2.0, 5.0, 10.0, 12.0)


@dataclass(frozen=True, kw_only=True)
class Release:
    """Shares (0 to 1) that add up to 1. ``starts_c``: below this nothing happens (None: on wetting)."""

    name: str
    mixing: float
    bench: float
    oven: float
    starts_c: float | None = None
    protocol: str = "2 min, 27 °C"
    source: str = "trade figures, from memory"
    sureness: Sureness = "B"

    @property
    def cold(self) -> float:
        """Share free before the oven."""
        return self.mixing + self.bench


_SUPPLIER = "mixing share: supplier sheets; bench and oven from memory"
_LIST = (
    Release(
        name="at once",
        mixing=0.85,
        bench=0.15,
        oven=0.0,
        source="70 to 100 % in mixing, from memory; 'immediately, during mixing': McGee, On Food and Cooking",
    ),
    Release(
        name="monocalcium phosphate", mixing=0.60, bench=0.0, oven=0.40, protocol="3 min", source="60/40: trade press"
    ),
    Release(name="coated monocalcium phosphate", mixing=0.15, bench=0.35, oven=0.50, source=_SUPPLIER),
    *(
        Release(
            name=f"acid pyrophosphate {grade}",
            mixing=grade / 100,
            bench=0.08,
            oven=round(0.92 - grade / 100, 2),
            source=_SUPPLIER,
        )
        for grade in (22, 28, 36, 40)
    ),
    Release(
        name="sodium aluminium phosphate",
        mixing=0.22,
        bench=0.09,
        oven=0.69,
        starts_c=39.0,
        source="mixing share: supplier sheet; start 38 to 40 °C: McGee; rest from memory",
    ),
    Release(name="sodium aluminium sulfate", mixing=0.0, bench=0.0, oven=1.0, starts_c=60.0),
    Release(
        name="dimagnesium phosphate",
        mixing=0.0,
        bench=0.0,
        oven=1.0,
        starts_c=42.0,
        source="start 40 to 44 °C: McGee, On Food and Cooking",
    ),
    Release(
        name="dicalcium phosphate",
        mixing=0.0,
        bench=0.0,
        oven=1.0,
        starts_c=58.0,
        source="start 57 to 60 °C: McGee; other trade texts say 80 °C",
        sureness="C",
    ),
    Release(
        name="glucono-delta-lactone",
        mixing=0.10,
        bench=0.25,
        oven=0.65,
        source="slow hydrolysis, first order; shares rough, from memory",
        sureness="C",
    ),
    Release(name="adipic", mixing=0.40, bench=0.35, oven=0.25, source="rough, from memory", sureness="C"),
    Release(name="slowly dissolving", mixing=0.20, bench=0.30, oven=0.50, source="rough, from memory", sureness="C"),
    Release(name="heat alone", mixing=0.0, bench=0.0, oven=1.0, starts_c=60.0, source="soda without acid, rough"),
)
RELEASE: Mapping[str, Release] = MappingProxyType({release.name: release for release in _LIST})


@dataclass(frozen=True, kw_only=True)
class ReleaseStages:
    """Shares of the gas of a whole mixture, and whether it acts once or twice.

    "double" when at least a fifth comes in the oven and a tenth before it.
    """

    mixing: float
    bench: float
    oven: float
    acting: str


def stages(parts: Sequence[tuple[str, float]]) -> ReleaseStages:
    """Stages of a mixture from (key of RELEASE, mmol of gas it frees) pairs.

    Raises TrialDataError for an unknown key or when there is no gas at all.
    """
    for key, _ in parts:
        if key not in RELEASE:
            raise TrialDataError(f"Nothing is known of when {key!r} acts.", try_this=f"one of {', '.join(RELEASE)}")
    total = sum(gas for _, gas in parts)
    if total <= 0:
        raise TrialDataError("There is no gas to be released.", try_this="add a leavener and an acid")
    mixing, bench, oven = (
        sum(gas * getattr(RELEASE[key], stage) for key, gas in parts) / total for stage in ("mixing", "bench", "oven")
    )
    twice = oven >= 0.2 and mixing + bench >= 0.1
    return ReleaseStages(mixing=mixing, bench=bench, oven=oven, acting="double" if twice else "single")


def bench_curve(
    parts: Sequence[tuple[str, float]], minutes: Sequence[float] = BENCH_MINUTES
) -> tuple[tuple[float, float], ...]:
    """(minutes, share of the gas freed on the bench) of a mixture; ``parts`` as in ``stages``."""
    total = sum(gas for _, gas in parts)
    if total <= 0:
        raise TrialDataError("There is no gas to be released.", try_this="add a leavener and an acid")
    times = np.asarray(minutes, dtype=float)
    share = sum((gas / total * cold_curve(key, times) for key, gas in parts), start=np.zeros_like(times))
    return tuple((float(time), float(part)) for time, part in zip(times, share, strict=True))


def cold_curve(key: str, minutes: Array) -> Array:
    """Share of the gas free after ``minutes`` at bench temperature.

    First order towards the cold share when bench time adds some of it:
    f(t) = c (1 - exp(-k t)) with f(2) = mixing and f(12) = mixing + bench. An acid that
    stops after mixing follows two parallel terms of which the slow one belongs to the
    oven (rate 0). Form: pressuremeter studies of lean dough found one first-order term for
    slowly hydrolysing acids and two for cream of tartar and acid pyrophosphate 40.
    """
    release = RELEASE[key]
    t = np.asarray(minutes, dtype=float)
    if release.cold == 0:
        return np.zeros_like(t)
    rate = _rate(release)
    # Scaled so that the curve meets the cold share at the end of the bench time.
    reach = release.cold / (1 - np.exp(-rate * BENCH_MIN))
    return np.minimum(reach * (1 - np.exp(-rate * t)), release.cold)


def _rate(release: Release) -> float:
    """1/min, from the ratio of the mixing share to the cold share."""
    ratio = release.mixing / release.cold
    slowest, fastest = 1e-6, 3.0
    if ratio <= MIXING_MIN / BENCH_MIN:
        return slowest
    if ratio >= (1 - np.exp(-fastest * MIXING_MIN)) / (1 - np.exp(-fastest * BENCH_MIN)):
        return fastest

    def share(rate: float) -> float:
        return float(np.expm1(-rate * MIXING_MIN) / np.expm1(-rate * BENCH_MIN))

    low, high = slowest, fastest
    for _ in range(60):  # halving: the share rises with the rate; no library is loaded for it
        middle = 0.5 * (low + high)
        low, high = (middle, high) if share(middle) < ratio else (low, middle)
    return 0.5 * (low + high)


def first_order(minutes: Array, rate_per_min: float) -> Array:
    """f(t) = 1 - exp(-k t)."""
    return -np.expm1(-rate_per_min * np.asarray(minutes, dtype=float))


def two_stage(minutes: Array, fast_share: float, fast_per_min: float, slow_per_min: float) -> Array:
    """f(t) = a (1 - exp(-k1 t)) + (1 - a)(1 - exp(-k2 t))."""
    return fast_share * first_order(minutes, fast_per_min) + (1 - fast_share) * first_order(minutes, slow_per_min)
