"""Does the process stay inside its specification, with what to spare?

Capability (Cp, Cpk, Cpm) only of a stable process, from the spread that a piece has about its own batch;
performance (Pp, Ppk) of any, from all readings together: the width of the specification, or the distance of the
nearer limit from the mean, over six, or three, standard deviations. Where a batch has several pieces, the same
indices "over batches" add the spread between batches to that within, and their intervals know how few
batches there are; the plain Pp and Ppk take every piece as its own draw, as published figures do.

Intervals: chi-square for Cp and Pp; Bissell 1990, Applied Statistics 39:331, for Cpk and Ppk,
index +- z sqrt(1 / (9 n) + index^2 / (2 df)); generalised pivots for Cpm, for the indices over batches and for
the share outside. Readings that reach further to one side go by the quantiles of a fitted scale
(``capability_scaled``), as ISO 22514-4 has it.

A mean midway between two limits is the hardest case: chance makes either limit the nearer one, so that the index
over batches comes out low, and its 95 % interval held the truth in 91 % of 800 draws of 40 batches of three, lying
too low in 8 %; one standard deviation off the middle it held it in 94 % (our own simulation).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.control.capability_scaled import scaled_indices
from analysis.control.entering import check_series, check_specification
from analysis.control.limits import FEW
from analysis.control.results import BatchSeries, Capability, Specification
from analysis.control.spreads import Spreads, between_quantiles, pivots, share_outside, spreads_of
from analysis.control.transforming import is_skewed
from analysis.errors import NotPossible, TrialDataError

Floats = NDArray[np.float64]

WANTED = 1.33  # common practice, no source: the nearer limit four standard deviations away
FEWEST_BATCHES = 3
CONFIDENCE = 0.95
MEETS, SHORT, UNSURE = "meets", "falls short", "cannot tell"
OVER = " over batches"


@dataclass(frozen=True, kw_only=True)
class Outside:
    """The share of pieces outside the specification, 0 to 1, with its interval; ``seen`` of ``readings`` were."""

    value: float
    low: float
    high: float
    seen: int
    readings: int


@dataclass(frozen=True, kw_only=True)
class CapabilityAnswer:
    """All that is said about one response and its specification.

    ``main`` names the index to go by. ``stable`` None: there are no limits to tell by. ``scale`` is "as read" or the
    scale that made lopsided readings even. ``cautions`` are keys for ``analysis.words.capability``.
    """

    specification: Specification
    indices: tuple[Capability, ...]
    main: str
    outside: Outside
    spreads: Spreads
    stable: bool | None
    scale: str
    wanted: float
    confidence: float
    cautions: tuple[str, ...]

    @property
    def index(self) -> Capability:
        return next(one for one in self.indices if one.index == self.main)


def capability_of(
    series: BatchSeries,
    specification: Specification,
    *,
    stable: bool | None,
    wanted: float = WANTED,
    confidence: float = CONFIDENCE,
) -> CapabilityAnswer:
    """The indices of one response. ``stable``: what its charts say.

    Raises TrialDataError for a specification without a limit or the wrong way round, NotPossible for fewer than
    three batches or readings all alike.
    """
    check_series(series)
    _check(specification, wanted, confidence)
    readings = np.concatenate([np.asarray(values, dtype=float) for values in series.values])
    _refuse_too_little(series, readings)
    spreads = spreads_of(series.values)
    scaled = scaled_indices(series, specification, confidence) if is_skewed(readings) else None
    if scaled is None:
        indices = _normal(spreads, specification, bool(stable), wanted, confidence)
        value, low, high = _share(spreads, specification, confidence)
    else:
        letter = "C" if stable else "P"
        indices = [_judged(f"{letter}{name}", *each, wanted) for name, each in scaled.indices.items()]
        value, low, high = scaled.outside
    main = _main([one.index for one in indices], bool(stable), spreads)
    return CapabilityAnswer(
        specification=specification,
        indices=tuple(indices),
        main=main,
        outside=Outside(value=value, low=low, high=high, seen=_seen(readings, specification), readings=len(readings)),
        spreads=spreads,
        stable=stable,
        scale="as read" if scaled is None else scaled.scale,
        wanted=wanted,
        confidence=confidence,
        cautions=_cautions(spreads, stable, scaled is not None, readings),
    )


def normal_indices(
    *, mean: float, sd: float, n: int, df: int, specification: Specification, confidence: float = CONFIDENCE
) -> dict[str, tuple[float, float, float]]:
    """(value, low, high) of "p", "pu", "pl" and "pk" for a mean from ``n`` readings and an sd with ``df``."""
    from scipy import stats

    lower, upper = specification.lower, specification.upper
    found: dict[str, tuple[float, float, float]] = {}
    if lower is not None and upper is not None:
        width = (upper - lower) / (6 * sd)
        ends = stats.chi2.ppf([(1 - confidence) / 2, (1 + confidence) / 2], df) / df
        found["p"] = (width, width * math.sqrt(ends[0]), width * math.sqrt(ends[1]))
    z = float(stats.norm.ppf((1 + confidence) / 2))
    sides = {}
    if upper is not None:
        sides["pu"] = (upper - mean) / (3 * sd)
    if lower is not None:
        sides["pl"] = (mean - lower) / (3 * sd)
    for name, value in (*sides.items(), ("pk", min(sides.values()))):
        half = z * math.sqrt(1 / (9 * n) + value**2 / (2 * df))
        found[name] = (value, value - half, value + half)
    return found


def _normal(
    spreads: Spreads, specification: Specification, stable: bool, wanted: float, confidence: float
) -> list[Capability]:
    n = spreads.readings
    sets = []
    if stable:
        sd, df = (spreads.within, spreads.within_df) if spreads.within else (spreads.overall, n - 1)
        sets.append(("C", sd, df))
    sets.append(("P", spreads.overall, n - 1))
    indices = []
    for letter, sd, df in sets:
        found = normal_indices(mean=spreads.mean, sd=sd, n=n, df=df, specification=specification, confidence=confidence)
        indices += [_judged(_named(letter, name), *each, wanted) for name, each in found.items()]
    if spreads.several:
        indices += _over_batches(spreads, specification, wanted, confidence)
    target = _with_target(spreads, specification, stable, wanted, confidence)
    return [*indices, *([target] if target else [])]


def _named(letter: str, name: str) -> str:
    """ "Cp", "Cpk", but "CPU" and "CPL", as these indices are written."""
    return f"{letter}{name.upper()}" if name in ("pu", "pl") else f"{letter}{name}"


def _over_batches(spreads: Spreads, specification: Specification, wanted: float, confidence: float) -> list[Capability]:
    """Width and nearer limit by the spread of a piece of any batch."""
    mean, sd = pivots(spreads)
    lower, upper = specification.lower, specification.upper
    found = []
    if lower is not None and upper is not None:
        ends = between_quantiles((upper - lower) / (6 * sd), confidence)
        found.append(_judged(f"Pp{OVER}", (upper - lower) / (6 * spreads.total), *ends, wanted))
    nearer = _nearer(np.array([spreads.level]), np.array([spreads.total]), specification)
    ends = between_quantiles(_nearer(mean, sd, specification), confidence)
    return [*found, _judged(f"Ppk{OVER}", float(nearer[0]), *ends, wanted)]


def _nearer(mean: Floats, sd: Floats, specification: Specification) -> Floats:
    """Distance of the nearer limit in three standard deviations."""
    sides = []
    if specification.lower is not None:
        sides.append(mean - specification.lower)
    if specification.upper is not None:
        sides.append(specification.upper - mean)
    return np.asarray(np.min(sides, axis=0) / (3 * sd))


def _with_target(
    spreads: Spreads, specification: Specification, stable: bool, wanted: float, confidence: float
) -> Capability | None:
    """Cpm: the distance from the target counts as spread (Chan, Cheng and Spiring 1988, J. Quality Technology 20)."""
    lower, upper = specification.lower, specification.upper
    if not stable or lower is None or upper is None:
        return None
    target = (lower + upper) / 2 if specification.target is None else specification.target
    room = min(upper - target, target - lower)
    mean, sd = pivots(spreads)
    value = room / (3 * math.hypot(spreads.overall, spreads.mean - target))
    return _judged("Cpm", value, *between_quantiles(room / (3 * np.hypot(sd, mean - target)), confidence), wanted)


def _judged(index: str, value: float, low: float, high: float, wanted: float) -> Capability:
    verdict = MEETS if low >= wanted else SHORT if high < wanted else UNSURE
    return Capability(index=index, value=value, low=low, high=high, verdict=verdict)


def _share(spreads: Spreads, specification: Specification, confidence: float) -> tuple[float, float, float]:
    lower, upper = specification.lower, specification.upper
    mean, sd = pivots(spreads)
    low, high = between_quantiles(share_outside(mean, sd, lower, upper), confidence)
    value = float(share_outside(spreads.mean, spreads.overall, lower, upper))
    return value, min(low, value), max(high, value)


def _seen(readings: Floats, specification: Specification) -> int:
    low = -math.inf if specification.lower is None else specification.lower
    high = math.inf if specification.upper is None else specification.upper
    return int(np.sum((readings < low) | (readings > high)))


def _main(names: Sequence[str], stable: bool, spreads: Spreads) -> str:
    """The index to go by: that of a piece of any batch where batches differ, else the customary one."""
    over = f"Ppk{OVER}"
    if over in names and (spreads.batches_differ or not stable):
        return over
    return "Cpk" if stable else "Ppk"


def _cautions(spreads: Spreads, stable: bool | None, scaled: bool, readings: Floats) -> tuple[str, ...]:
    from scipy import stats

    found = []
    if stable is None:
        found.append("stability not known")
    elif not stable:
        found.append("not stable")
    if spreads.batches < FEW:
        found.append("few batches")
    if spreads.batches_differ:
        found.append("batches differ")
    if scaled:
        found.append("lopsided")
    elif len(readings) >= FEW and stats.shapiro(readings[:5000]).pvalue < 0.005:
        found.append("not normal")
    return tuple(found)


def _check(specification: Specification, wanted: float, confidence: float) -> None:
    check_specification(specification)
    where = f"specification of {specification.response}"
    if specification.lower is None and specification.upper is None:
        raise TrialDataError(
            "The specification has no limit to keep inside of.", where=where, try_this="give a lower or an upper limit"
        )
    if not 0 < wanted < 10:
        raise TrialDataError(f"An index of {wanted:g} cannot be asked for.", where="wanted", try_this="1.33, or 1 to 2")
    if not 0.5 <= confidence < 1:
        raise TrialDataError(
            f"An interval cannot be {100 * confidence:g} % sure.", where="confidence", try_this="give 0.95"
        )


def _refuse_too_little(series: BatchSeries, readings: Floats) -> None:
    batches = len(series.batches)
    if batches < FEWEST_BATCHES:
        pieces = "how its pieces differ, not how batches do" if batches == 1 else "little about how batches differ"
        raise NotPossible(
            f"{batches} {'batch of' if batches == 1 else 'batches of'} {series.response} "
            f"{'says' if batches == 1 else 'say'} {pieces}; it takes {FEWEST_BATCHES}, and {FEW} to rely on.",
            where=series.response,
            try_this="log more batches",
        )
    if np.ptp(readings) <= 1e-12 * float(np.abs(readings).max()):
        raise NotPossible(
            f"Every reading of {series.response} is {readings[0]:g}: without spread there is nothing to compare the "
            "specification with.",
            where=series.response,
            try_this="read one digit more, and check that the readings are not copied",
        )
