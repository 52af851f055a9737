"""Is this batch sent out, held, or thrown away, and how often is such a rule wrong?

A rule by attributes counts the pieces outside the specification: at most ``accept`` of ``pieces`` and the batch
goes out, from ``reject`` on it does not, and between it is held. A rule by variables asks how many
standard deviations lie between the mean and the nearer limit: at least ``accept`` to go out, less than
``reject`` to be thrown away. Its spread is known, or comes from the same pieces.

The operating curve is the chance of each for a batch with a given share outside: binomial for
attributes (hypergeometric where the batch is not much larger than what was taken), normal and
noncentral t for variables with all that is outside beyond one limit.

Sources: Wallis 1947, in Eisenhart, Hastay and Wallis (eds), Techniques of Statistical Analysis; ISO 2859-1 and
ISO 3951-1 for the two kinds of rule.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.control.entering import check_specification
from analysis.control.results import Specification
from analysis.errors import TrialDataError

Floats = NDArray[np.float64]

ACCEPT, HOLD, REJECT = "accept", "hold", "reject"
MOST_PIECES = 100_000


@dataclass(frozen=True, kw_only=True)
class AttributesRule:
    """Of ``pieces`` taken, at most ``accept`` outside: accept; ``reject`` or more: reject.

    ``batch_size`` in pieces; None: so large that it does not matter.
    """

    pieces: int
    accept: int
    reject: int
    batch_size: int | None = None


@dataclass(frozen=True, kw_only=True)
class VariablesRule:
    """Mean of ``pieces`` at least ``accept`` SDs inside the nearer limit: accept; less than ``reject``: reject.

    ``sigma`` is the known standard deviation of a piece, in the unit of the response; None: that of the pieces.
    """

    pieces: int
    accept: float
    reject: float
    sigma: float | None = None


Rule = AttributesRule | VariablesRule


@dataclass(frozen=True, kw_only=True)
class Disposition:
    """``verdict`` accept, hold or reject. ``figure``: pieces outside, or SDs inside the nearer limit.

    ``figure`` is None for a rule by variables whose pieces are all alike; ``limit`` the limit that decided.
    """

    verdict: str
    figure: float | None
    limit: float | None
    rule: Rule


@dataclass(frozen=True, kw_only=True)
class CurvePoint:
    """Chances (sum 1) for a batch with this share of its pieces outside."""

    share: float
    accept: float
    hold: float
    reject: float


def attributes_rule(
    pieces: int, accept: int, *, reject: int | None = None, batch_size: int | None = None
) -> AttributesRule:
    """A checked rule by attributes; without ``reject`` nothing is held. Raises TrialDataError."""
    over = accept + 1 if reject is None else reject
    _whole(pieces, "pieces", least=1)
    _whole(accept, "accept", least=0)
    _whole(over, "reject", least=1)
    if accept >= pieces:
        raise _wrong(f"A rule that accepts {accept} of {pieces} pieces outside accepts everything.", "accept", "fewer")
    if not accept < over <= pieces:
        raise _wrong(
            f"Rejecting from {over} pieces on does not go with accepting {accept} of {pieces}.",
            "reject",
            f"a number from {accept + 1} to {pieces}",
        )
    if batch_size is not None:
        _whole(batch_size, "batch size", least=pieces)
    return AttributesRule(pieces=pieces, accept=accept, reject=over, batch_size=batch_size)


def variables_rule(
    pieces: int, accept: float, *, reject: float | None = None, sigma: float | None = None
) -> VariablesRule:
    """A checked rule by variables; without ``reject`` nothing is held. Raises TrialDataError."""
    under = accept if reject is None else reject
    _whole(pieces, "pieces", least=1 if sigma is not None else 2)
    if not (math.isfinite(accept) and math.isfinite(under)):
        raise _wrong("A distance of the rule is not a number.", "accept", "a plain number, such as 1.9")
    if under > accept:
        raise _wrong(
            f"Rejecting below {under:g} standard deviations does not go with accepting from {accept:g} on.",
            "reject",
            f"a number up to {accept:g}",
        )
    if sigma is not None and not (math.isfinite(sigma) and sigma > 0):
        raise _wrong(f"A standard deviation of {sigma:g} cannot be.", "sigma", "a number above 0, or none")
    return VariablesRule(pieces=pieces, accept=float(accept), reject=float(under), sigma=sigma)


def dispose(rule: Rule, readings: Sequence[float], specification: Specification) -> Disposition:
    """What the rule says of a batch, from the readings of its pieces. Raises TrialDataError."""
    check_specification(specification)
    lower, upper = specification.lower, specification.upper
    where = f"readings of {specification.response}"
    if lower is None and upper is None:
        raise _wrong("The specification has no limit to judge by.", specification.response, "a lower or upper limit")
    x = np.asarray(readings, dtype=float)
    if not np.isfinite(x).all():
        raise _wrong("A reading is not a number.", where, "a reading for each piece")
    if len(x) != rule.pieces:
        there = f"there {'is' if len(x) == 1 else 'are'} {len(x)}"
        raise _wrong(f"The rule takes {rule.pieces} pieces, and {there}.", where, f"{rule.pieces} readings")
    if isinstance(rule, AttributesRule):
        outside = (x < (-math.inf if lower is None else lower)) | (x > (math.inf if upper is None else upper))
        return dispose_count(rule, int(outside.sum()))
    return _by_distance(rule, x, lower, upper)


def dispose_count(rule: AttributesRule, outside: int) -> Disposition:
    """What the rule says of so many pieces outside."""
    _whole(outside, "pieces outside", least=0)
    if outside > rule.pieces:
        raise _wrong(f"{outside} of {rule.pieces} pieces are more than were taken.", "pieces outside", "count again")
    verdict = ACCEPT if outside <= rule.accept else REJECT if outside >= rule.reject else HOLD
    return Disposition(verdict=verdict, figure=float(outside), limit=None, rule=rule)


def operating_curve(rule: Rule, shares: Iterable[float]) -> tuple[CurvePoint, ...]:
    """The chances of each verdict for each share outside (0 to 1). Raises TrialDataError for a share that is none."""
    p = np.asarray(list(shares), dtype=float)
    if not ((p >= 0) & (p <= 1)).all():
        raise _wrong("A share outside is not between 0 and 1.", "shares", "0.01 for one piece in a hundred")
    if isinstance(rule, AttributesRule):
        accept, not_reject = _at_most(rule, rule.accept, p), _at_most(rule, rule.reject - 1, p)
    else:
        accept, not_reject = _at_least(rule, rule.accept, p), _at_least(rule, rule.reject, p)
    return tuple(
        CurvePoint(share=float(a), accept=float(b), hold=float(max(c - b, 0.0)), reject=float(1 - c))
        for a, b, c in zip(p, accept, not_reject, strict=True)
    )


def share_accepted(rule: Rule, chance: float) -> float:
    """The share outside at which a batch is accepted with this chance.

    0.95 is the producer's point, 0.1 the consumer's, as a rule.
    """
    from scipy.optimize import brentq

    if not 0 < chance < 1:
        raise _wrong(f"{chance:g} is not a chance between 0 and 1.", "chance", "0.95 or 0.1")
    if isinstance(rule, AttributesRule) and rule.batch_size is not None:
        size = rule.batch_size
        accepted = [point.accept for point in operating_curve(rule, np.arange(size + 1) / size)]
        return float(np.flatnonzero(np.array(accepted) >= chance)[-1] / size)
    return float(brentq(lambda p: operating_curve(rule, [p])[0].accept - chance, 1e-12, 1 - 1e-12, xtol=1e-12))


def _by_distance(rule: VariablesRule, x: Floats, lower: float | None, upper: float | None) -> Disposition:
    mean = float(x.mean())
    room = {limit: side for limit, side in ((lower, 1), (upper, -1)) if limit is not None}
    limit = min(room, key=lambda each: room[each] * (mean - each))
    spread = rule.sigma if rule.sigma is not None else float(x.std(ddof=1))
    if not spread > 1e-12 * abs(mean):
        # Pieces all alike tell no spread, so no distance in standard deviations: somebody has to look.
        inside = room[limit] * (mean - limit) >= 0
        return Disposition(verdict=HOLD if inside else REJECT, figure=None, limit=limit, rule=rule)
    distance = room[limit] * (mean - limit) / spread
    verdict = ACCEPT if distance >= rule.accept else REJECT if distance < rule.reject else HOLD
    return Disposition(verdict=verdict, figure=distance, limit=limit, rule=rule)


def _at_most(rule: AttributesRule, outside: int, p: Floats) -> Floats:
    from scipy import stats

    if rule.batch_size is None:
        return np.asarray(stats.binom.cdf(outside, rule.pieces, p))
    in_batch = np.rint(p * rule.batch_size)
    return np.asarray(stats.hypergeom.cdf(outside, rule.batch_size, in_batch, rule.pieces))


def _at_least(rule: VariablesRule, distance: float, p: Floats) -> Floats:
    """Chance that the mean lies at least so many SDs inside a limit with ``p`` of the pieces beyond it."""
    from scipy import stats

    root = math.sqrt(rule.pieces)
    inner = np.clip(p, 1e-15, 1 - 1e-15)
    z = stats.norm.isf(inner)
    if rule.sigma is not None:
        found = stats.norm.cdf(root * (z - distance))
    else:
        found = stats.nct.sf(root * distance, rule.pieces - 1, root * z)
    return np.where(p <= 0, 1.0, np.where(p >= 1, 0.0, found))


def _whole(value: float, what: str, *, least: int) -> None:
    if isinstance(value, bool) or value != int(value) or not least <= value <= MOST_PIECES:
        raise _wrong(f"{value:g} {what} cannot be.", what, f"a whole number from {least} on")


def _wrong(what: str, where: str, way_out: str) -> TrialDataError:
    return TrialDataError(what, where=where, try_this=f"give {way_out}")
