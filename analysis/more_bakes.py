"""How many more bakes would settle what is open?

Half-widths shrink with the square root of bakes: an interval wider than what matters, or one that
reaches past the margin of a substitute, is brought to where it decides.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from math import log
from typing import Any

from analysis.baked import Treatment, same_level, treatments_baked
from analysis.findings import JOINT
from analysis.parts import Equivalence
from analysis.questions import Question
from analysis.results import Finding, NextBakes, ResponseResult

MOST_TIMES = 10  # beyond this many times the bakes made so far, more bakes are no sensible advice
WITHIN_REACH = 3  # without a difference that matters: half-widths beyond this many sizes are left alone


# A substitute whose interval still reaches past the margin


def as_good_open(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    """More bakes of the open pair that lies nearest to being settled: the interval has to fit beside its estimate."""
    best: tuple[int, Equivalence] | None = None
    for one in result.family.equivalence:
        scale = log if one.ratio else float
        if one.equivalent != "unsure" or one.low is None or one.high is None or (one.ratio and one.estimate <= 0):
            continue
        size, half = scale(one.estimate), (scale(one.high) - scale(one.low)) / 2
        room = min(abs(scale(one.margin_high) - size), abs(size - scale(one.margin_low)))
        if room <= 0 or half <= 0:
            continue
        more = math.ceil(result.n_bakes * ((half / room) ** 2 - 1))
        if 0 < more <= (MOST_TIMES - 1) * result.n_bakes and (best is None or more < best[0]):
            best = (more, one)
    if best is not None:
        more, one = best
        facts = {"a": one.a, "b": one.b, "response": result.response.name, "more": 2 * math.ceil(more / 2)}
        facts["of"] = _what(result)
        treatments: tuple[Treatment, ...] = ({one.factor: one.a}, {one.factor: one.b})
        yield NextBakes(why="margin open", treatments=treatments, facts=facts)


# More of the same: the interval is wider than what matters


def more_bakes(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    if any(effect.pse is not None for effect in result.family.effects):
        return  # without replicates there is no error to scale; see _replicates
    open_ones = [f for f in result.findings if _open(f) and aim_of(f, result) is not None]
    mains = [finding for finding in open_ones if finding.kind == "effect"]
    chosen = mains or [finding for finding in open_ones if finding.kind in JOINT]
    if not chosen:
        return
    widest = max(chosen, key=lambda finding: _times(finding, result))
    treatments = _ends(widest, result, question)
    more = math.ceil(result.n_bakes * (_times(widest, result) - 1))
    each = math.ceil(more / max(len(treatments), 1))
    sensible = more <= (MOST_TIMES - 1) * result.n_bakes
    yield NextBakes(
        why="more bakes",
        treatments=tuple(treatments) if sensible else (),
        facts={
            "variables": tuple(dict.fromkeys(":".join(finding.variables) for finding in chosen)),
            "response": result.response.name,
            "half_width": _half(widest),
            "aim": aim_of(widest, result),
            "unit": result.response.unit,
            "more": each * len(treatments) if sensible else None,
            "each": each,
            "of": _what(result),
        },
    )


def _open(finding: Finding) -> bool:
    """Is it left open? Not where the pair was shown to be as good, within the margin."""
    return finding.matters == "unsure" and not finding.facts.get("within_margin")


def _what(result: ResponseResult) -> str:
    """What is counted: bakes, or readings where each stands for itself."""
    of_scores = any(part.key == "scores" for part in result.family.parts)
    return "reading" if of_scores and result.n_readings == result.n_bakes else "bake"


def _half(finding: Finding) -> float:
    assert finding.low is not None
    assert finding.high is not None
    return (finding.high - finding.low) / 2


def aim_of(finding: Finding, result: ResponseResult) -> float | None:
    """The half-width that would decide the finding; None when no number of bakes is foreseeable.

    An interval wider than what matters comes down to it; a narrower one that straddles
    the limit comes down to the distance between estimate and limit. Without a difference
    that matters the estimate itself has to be cleared.
    """
    if finding.low is None or finding.high is None or finding.size is None or finding.high <= finding.low:
        return None
    matters, half = result.response.matters, _half(finding)
    if matters is None:
        return abs(finding.size) if abs(finding.size) * WITHIN_REACH >= half else None
    aim = matters if half > matters else abs(abs(finding.size) - matters)
    return aim if 0 < aim < half else None


def _times(finding: Finding, result: ResponseResult) -> float:
    """How many times the bakes made so far: half-widths shrink with the square root of bakes."""
    aim = aim_of(finding, result)
    return (_half(finding) / aim) ** 2 if aim else 1.0


def _ends(finding: Finding, result: ResponseResult, question: Question) -> list[Treatment]:
    """The treatments baked at the levels a finding compares."""
    baked = treatments_baked(result.family.points, question)
    wanted = _compared(finding)
    chosen = [
        one
        for one in baked
        if all(any(same_level(one.get(name), level) for level in levels) for name, levels in wanted.items())
    ]
    return chosen or baked


def _compared(finding: Finding) -> dict[str, tuple[Any, Any]]:
    facts = finding.facts
    compared = {}
    if "from" in facts and "to" in facts:
        compared[str(facts.get("of", finding.variables[0]))] = (facts["from"], facts["to"])
    if "by_from" in facts and "by_to" in facts:
        compared[str(facts["by"])] = (facts["by_from"], facts["by_to"])
    return compared


def say_what_matters(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    """Without a difference that matters, an effect lost in the scatter can never be called too small."""
    effects = [finding for finding in result.findings if finding.kind == "effect"]
    lost = [f for f in effects if _open(f) and f.low is not None and aim_of(f, result) is None]
    if result.response.matters is None and lost:
        facts = {"variables": tuple(f.variables[0] for f in lost), "response": result.response.name}
        yield NextBakes(why="say what matters", treatments=(), facts=facts)
