"""What does the study show, from what matters most to what is good to know? Typed, without a sentence."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from analysis.control.gauge.results import (
    GOOD,
    MEND,
    Fit,
    GaugeFinding,
    OddReading,
    PairLine,
    Share,
    Verdict,
    Worth,
)

LEAST_PARTS = ("person", "person by piece", "piece")


def judged(used: Fit) -> tuple[Share, Literal["tolerance", "spread"]]:
    """Of the tolerance where there is one, else of the total spread."""
    shares = used.shares["gauge"]
    return (shares.of_spread, "spread") if shares.of_tolerance is None else (shares.of_tolerance, "tolerance")


def verdict_of(share: Share) -> Verdict:
    if share.value > MEND:
        return "mend"
    return "good" if share.value <= GOOD else "will do"


def sure(share: Share, verdict: Verdict) -> bool:
    """Does the whole interval lead to the same verdict?"""
    if share.low is None or share.high is None:
        return False
    ends = {verdict_of(Share(value=share.low)), verdict_of(Share(value=share.high))}
    return ends == {verdict}


def findings_of(
    used: Fit, pair: PairLine | None, odd: tuple[OddReading, ...], worth: Worth
) -> tuple[GaugeFinding, ...]:
    return tuple(_all(used, pair, odd, worth))


def _all(used: Fit, pair: PairLine | None, odd: tuple[OddReading, ...], worth: Worth) -> Iterator[GaugeFinding]:
    share, by = judged(used)
    verdict = verdict_of(share)
    yield GaugeFinding(
        kind="verdict", variables=(by,), size=share.value, low=share.low, high=share.high, verdict=verdict,
        facts={"sure": sure(share, verdict)},
    )  # fmt: skip
    yield _largest(used)
    if pair is not None:
        yield GaugeFinding(
            kind="people differ", variables=(pair.higher, pair.lower), size=pair.difference, low=pair.low,
            high=pair.high, verdict=_beyond(pair),
        )  # fmt: skip
    for key in LEAST_PARTS:
        one = used.components.get(key)
        if one is not None and one.boundary:
            yield GaugeFinding(kind="nothing seen", variables=(key,), size=0.0, low=0.0, high=one.sd_high)
    for one_odd in odd:
        yield GaugeFinding(
            kind="odd reading", variables=(one_odd.person, one_odd.piece), size=one_odd.value - one_odd.expected,
            facts={"row": one_odd.row, "value": one_odd.value, "expected": one_odd.expected, "pair": one_odd.pair},
        )  # fmt: skip
    if used.classes is not None:
        yield GaugeFinding(kind="classes", size=used.classes)
    yield GaugeFinding(
        kind="readings worth", size=float(worth.enough), facts={"people": worth.people, "anyone_sd": worth.anyone_sd}
    )


def _largest(used: Fit) -> GaugeFinding:
    """Which part of the measuring weighs most: the repeats, or the people?"""
    own = used.components["repeatability"]
    people = used.components.get("reproducibility")
    part = people if people is not None and people.variance > own.variance else own
    other = own if part is people else people
    return GaugeFinding(
        kind="largest part", variables=(part.key,), size=part.sd, low=part.sd_low, high=part.sd_high,
        facts={"other": None if other is None else other.sd},
    )  # fmt: skip


def _beyond(pair: PairLine) -> str:
    if pair.low is None or pair.high is None:
        return "unsure"
    return "yes" if pair.low > 0 or pair.high < 0 else "unsure"
