"""How many pieces does a rule of acceptance need, to be wrong no more often than wished?

Two points fix a rule: a good batch, with a share ``good`` outside, is accepted at least ``1 - producer`` of the time; a
bad one, with ``bad`` outside, at most ``consumer`` of the time. The smallest rule that keeps both is found.
"""

from __future__ import annotations

import math

from analysis.control.acceptance import AttributesRule, VariablesRule, attributes_rule, variables_rule
from analysis.errors import NotPossible, TrialDataError

PRODUCER, CONSUMER = 0.05, 0.10  # common practice, no source
MOST = 2000  # pieces of one batch; a rule that needs more is no rule for a bakery


def smallest_attributes_rule(
    good: float, bad: float, *, producer: float = PRODUCER, consumer: float = CONSUMER
) -> AttributesRule:
    """The rule by attributes with the fewest pieces that keeps both points. Raises NotPossible beyond 2,000."""
    from scipy import stats

    _check(good, bad, producer, consumer)
    pieces, accept = 1, 0
    while pieces <= MOST:
        if stats.binom.cdf(accept, pieces, bad) > consumer:
            pieces += 1
        elif accept < pieces and stats.binom.cdf(accept, pieces, good) >= 1 - producer:
            return attributes_rule(pieces, accept)
        else:
            accept += 1
    raise _too_many(good, bad)


def smallest_variables_rule(
    good: float, bad: float, *, producer: float = PRODUCER, consumer: float = CONSUMER, sigma: float | None = None
) -> VariablesRule:
    """The rule by variables with the fewest pieces that keeps both points. Raises NotPossible beyond 2,000."""
    from scipy import stats

    _check(good, bad, producer, consumer)
    z_good, z_bad = float(stats.norm.isf(good)), float(stats.norm.isf(bad))
    if sigma is not None:
        reach = float(stats.norm.isf(producer) + stats.norm.isf(consumer))
        pieces = max(1, math.ceil((reach / (z_good - z_bad)) ** 2 - 1e-9))
        if pieces > MOST:
            raise _too_many(good, bad)
        return variables_rule(pieces, z_bad + float(stats.norm.isf(consumer)) / math.sqrt(pieces), sigma=sigma)
    low, high = 2, 2
    while not _keeps(high, z_good, z_bad, producer, consumer):
        low, high = high, high * 2
        if low > MOST:
            raise _too_many(good, bad)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _keeps(middle, z_good, z_bad, producer, consumer) else (middle, high)
    return variables_rule(high, _for_consumer(high, z_bad, consumer))


def _keeps(pieces: int, z_good: float, z_bad: float, producer: float, consumer: float) -> bool:
    from scipy import stats

    root = math.sqrt(pieces)
    accepted = stats.nct.sf(root * _for_consumer(pieces, z_bad, consumer), pieces - 1, root * z_good)
    return bool(accepted >= 1 - producer)


def _for_consumer(pieces: int, z_bad: float, consumer: float) -> float:
    """The distance at which a bad batch is accepted with just the consumer's chance."""
    from scipy import stats

    root = math.sqrt(pieces)
    return float(stats.nct.isf(consumer, pieces - 1, root * z_bad)) / root


def _check(good: float, bad: float, producer: float, consumer: float) -> None:
    if not 0 < good < bad < 1:
        raise TrialDataError(
            f"A good batch with a share of {good:g} outside and a bad one with {bad:g} cannot be told apart.",
            where="good and bad",
            try_this="give a good share above 0 and a bad one above it, such as 0.01 and 0.06",
        )
    if not (0 < producer < 0.5 and 0 < consumer < 0.5):
        raise TrialDataError(
            "A rule is wrong in more than 0 and less than half of the batches.",
            where="producer and consumer",
            try_this="give 0.05 and 0.1",
        )


def _too_many(good: float, bad: float) -> NotPossible:
    return NotPossible(
        f"To tell {100 * bad:g} % outside from {100 * good:g} % takes more than {MOST} pieces of each batch.",
        where="good and bad",
        try_this="let them lie further apart, or allow more wrong verdicts",
    )
