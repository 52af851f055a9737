"""Which blend is best inside what was baked, and how does the response run along each share's line?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.blends.lines import on_line, reference_blend
from analysis.blends.predictor import BlendPredictor
from analysis.blends.results import BlendPart, LevelBlend, ShareLimits, Trace, TracePoint
from analysis.blends.terms import BlendDesign
from analysis.linear.distributions import t_quantile
from analysis.questions import Question, Response
from analysis.surfaces.best import best_settings, better, loss
from analysis.surfaces.quadratic import Coding, quadratic_of
from analysis.surfaces.region import MOST_AMOUNTS, Region, baked_region

Floats = NDArray[np.float64]

POINTS = 41
MOST_LEVELS = 24
ZOOMS = 6

NO_ERROR = "nothing is left to judge it against"
TOO_MANY = "too many shares, or combinations of what is beside them, to look through"


@dataclass(frozen=True, eq=False)
class _AllShares:
    """A blend's predictor asked with all shares but the last, which is what is left of the whole."""

    predictor: BlendPredictor

    def __getattr__(self, name: str) -> Any:
        return getattr(self.predictor, name)

    def _whole(self, settings: pd.DataFrame) -> pd.DataFrame:
        names = self.predictor.shares
        return settings.assign(**{names[-1]: self.predictor.total - settings[list(names[:-1])].sum(axis=1)})

    def mean(self, settings: pd.DataFrame) -> Floats:
        return self.predictor.mean(self._whole(settings))

    def covariance(self, settings: pd.DataFrame) -> Floats | None:
        return self.predictor.covariance(self._whole(settings))


@dataclass(frozen=True, eq=False)
class Search:
    """``region`` in all parts but the last, (·, q - 1)."""

    predictor: BlendPredictor
    region: Region
    response: Response
    confidence: float

    def frame(self, parts: Floats, held: Mapping[str, Any]) -> pd.DataFrame:
        """``parts`` (m, q) as settings."""
        frame = pd.DataFrame(parts * self.predictor.total, columns=list(self.predictor.shares))
        return frame.assign(**{name: [value] * len(frame) for name, value in held.items()})

    def interval(
        self, parts: Floats, held: Mapping[str, Any], more: float = 0.0
    ) -> tuple[Floats, Floats | None, Floats | None]:
        """(means, lows, highs) of blends (m, q)."""
        frame = self.frame(parts, held)
        means, se, df = self.predictor.mean(frame), self.predictor.se(frame), self.predictor.df
        if se is None or df is None:
            return means, None, None
        margin = t_quantile(self.confidence, df) * np.sqrt(se**2 + more)
        return means, means - margin, means + margin

    def best(self, held: Mapping[str, Any]) -> Floats:
        """The best blend (q,) with everything else held."""
        free = self.predictor.shares[:-1]
        coding = Coding(free, np.zeros(len(free)), np.full(len(free), self.predictor.total))
        quadratic = quadratic_of(_AllShares(self.predictor), coding, held)
        if quadratic is None:
            return self._zoomed(held)
        return whole(best_settings(quadratic, self.region, self.response)[None, :])[0]

    def _zoomed(self, held: Mapping[str, Any]) -> Floats:
        """For blends of three at once: the best of an even grid, then of finer ones around it."""
        points = self.region.grid()
        width = (points.max(axis=0) - points.min(axis=0)) / 20
        best = points[0]
        for _ in range(ZOOMS):
            lost = loss(self.predictor.mean(self.frame(whole(points), held)), self.response)
            best = points[int(np.argmin(lost))]
            steps = np.array(list(product(np.linspace(-1, 1, 9), repeat=len(best))))
            near = best + steps * width
            points, width = np.vstack([best, near[self.region.inside(near, 1e-12)]]), width / 4
        return whole(best[None, :])[0]


def whole(parts: Floats) -> Floats:
    """All parts from all but the last."""
    full = np.column_stack([parts, 1 - parts.sum(axis=1)])
    return np.where(np.abs(full) < 1e-12, 0.0, full)


def blend_part(
    design: BlendDesign, predictor: BlendPredictor, response: Response, question: Question
) -> tuple[BlendPart | None, dict[str, str]]:
    """The part, or the reason why there is none."""
    choices = _choices(predictor)
    if len(choices) > MOST_LEVELS or len(predictor.shares) - 1 > MOST_AMOUNTS:
        return None, {"blend": TOO_MANY}
    region = baked_region(design.blends.parts[:, :-1])
    search = Search(predictor, region, response, question.confidence)
    bests = [search.best(held) for held in choices]
    levels = [_level(search, held, best) for held, best in zip(choices, bests, strict=True)]
    at = int(np.argmin(loss(np.array([level.best_response for level in levels]), response)))
    part = _part(search, design, choices[at], bests[at], levels[at])
    return replace(part, levels=tuple(levels) if len(levels) > 1 else ()), {}


def _choices(predictor: BlendPredictor) -> list[dict[str, Any]]:
    """Every level of what is beside the blend; of amounts both ends, as they act in a straight line."""
    beside: dict[str, Sequence[Any]] = {
        name: span.levels or (span.low, span.high)
        for name, span in predictor.spans.items()
        if name not in predictor.shares
    }
    return [dict(zip(beside, settings, strict=True)) for settings in product(*beside.values())]


def _level(search: Search, held: Mapping[str, Any], best: Floats) -> LevelBlend:
    means, low, high = search.interval(best[None, :], held)
    return LevelBlend(
        at=dict(held),
        best={**_named(search.predictor, best), **held},
        best_response=float(means[0]),
        low=_first(low),
        high=_first(high),
    )


def _part(search: Search, design: BlendDesign, held: Mapping[str, Any], best: Floats, level: LevelBlend) -> BlendPart:
    predictor, response = search.predictor, search.response
    parts = design.blends.parts
    good, share = _as_good(search, held, best)
    new = (None, None)
    if predictor.sd is not None:
        new = tuple(map(_first, search.interval(best[None, :], held, predictor.sd**2)[1:]))  # type: ignore[assignment]
    reference = reference_blend(design)
    return BlendPart(
        shares=predictor.shares,
        total=predictor.total,
        better=better(response),
        goal_given=response.goal is not None,
        limits=_limits(predictor, parts),
        at=dict(held),
        best=level.best,
        best_response=level.best_response,
        low=level.low,
        high=level.high,
        new_low=new[0],
        new_high=new[1],
        edge=_ends_early(search.region, best),
        as_good={} if good is None else _limits(predictor, good),
        as_good_share=share,
        as_good_within=response.matters,
        reference=_named(predictor, reference),
        traces=tuple(_trace(search, held, reference, at, parts) for at in range(len(predictor.shares))),
        reasons={} if level.low is not None else dict.fromkeys(("low", "high", "new_low", "new_high"), NO_ERROR),
    )


def _ends_early(region: Region, best: Floats) -> bool:
    """At the end of what was baked, where no share is used up?"""
    if not region.hull:
        return bool((best > 1e-9).all() and region.at_edge(best[:-1]))
    active = np.flatnonzero(region.normals @ best[:-1] >= region.offsets - 1e-6)
    corners = whole(region.points)
    for at in active:
        on = np.abs(region.points @ region.normals[at] - region.offsets[at]) < 1e-9
        if not (corners[on] < 1e-9).all(axis=0).any():
            return True
    return False


def _as_good(search: Search, held: Mapping[str, Any], best: Floats) -> tuple[Floats | None, float | None]:
    """The blends (m, q) as good as the best, and their part of what was baked."""
    points = whole(search.region.grid())
    good = good_blends(search, held, best, points)
    if good is None:
        return None, None
    return np.vstack([points[good], best[None, :]]), float(good.mean())


def good_blends(search: Search, held: Mapping[str, Any], best: Floats, points: Floats) -> NDArray[np.bool_] | None:
    """(m,) within the difference that matters of the best; without one, not told from it."""
    found = blend_slack(search, held, best, points)
    return None if found is None else np.asarray(found >= 0)


def blend_slack(search: Search, held: Mapping[str, Any], best: Floats, points: Floats) -> Floats | None:
    """(m,) how much worse each blend might be and still count as good as the best; below 0 it does not."""
    frame = search.frame(np.vstack([best, points]), held)
    lost = loss(search.predictor.mean(frame), search.response)
    short = lost[1:] - lost[0]
    if search.response.matters:
        return np.asarray(search.response.matters * (1 + 1e-9) - short)
    rows, df = search.predictor.rows(frame), search.predictor.df
    se = search.predictor.se_of(rows[1:] - rows[0])
    if se is None or df is None:
        return None
    return np.asarray(t_quantile(search.confidence, df) * se + 1e-12 - short)


def _trace(search: Search, held: Mapping[str, Any], reference: Floats, share: int, parts: Floats) -> Trace:
    """Along the share's line, as far as what was baked reaches."""
    ends = np.linspace(parts[:, share].min(), parts[:, share].max(), POINTS)
    line = np.array([on_line(reference, share, float(end)) for end in ends])
    line = line[search.region.inside(line[:, :-1])]
    means, low, high = search.interval(line, held)
    points = tuple(
        TracePoint(
            share=float(blend[share] * search.predictor.total),
            mean=float(means[at]),
            low=None if low is None else float(low[at]),
            high=None if high is None else float(high[at]),
        )
        for at, blend in enumerate(line)
    )
    return Trace(share=search.predictor.shares[share], points=points)


def _named(predictor: BlendPredictor, parts: Floats) -> dict[str, float]:
    return {name: float(part * predictor.total) for name, part in zip(predictor.shares, parts, strict=True)}


def _limits(predictor: BlendPredictor, parts: Floats) -> dict[str, ShareLimits]:
    low, high = parts.min(axis=0) * predictor.total, parts.max(axis=0) * predictor.total
    return {
        name: ShareLimits(low=float(a), high=float(b)) for name, a, b in zip(predictor.shares, low, high, strict=True)
    }


def _first(values: Floats | None) -> float | None:
    return None if values is None else float(values[0])
