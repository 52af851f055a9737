"""What does an answer on a transformed scale say in the response's own unit?

Means are brought back as they are, and are then medians. A difference of treatments is the difference of
what comes back; its interval holds what every set of coefficients that the bakes allow would make of it
(the profile of that difference; it leaves out 0 just when the difference on the scale does).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.errors import NotPossible
from analysis.estimates import Comparison, Mean
from analysis.findings import judge
from analysis.linear.centre_points import curvature_of
from analysis.linear.chosen import weights_of
from analysis.linear.distributions import t_quantile
from analysis.linear.means import Slice
from analysis.linear.scales import Scale
from analysis.linear.stratum import Model
from analysis.parts import ChosenContrast
from analysis.questions import Response
from analysis.results import FamilyResult, Finding

Floats = NDArray[np.float64]

STEPS = 200
CLOSE = 1e-10


@dataclass(frozen=True, eq=False)
class Undoing:
    """A fitted model with the way back from its scale."""

    model: Model
    scale: Scale
    response: Response
    confidence: float

    def position(self, name: str) -> int:
        return next(i for i, v in enumerate(self.model.variables) if not v.block and v.name == name)

    def level(self, variable: int, level: object) -> int:
        return self.model.variables[variable].levels.index(str(level))

    def back(self, value: float | None) -> float | None:
        if value is None:
            return None
        found = float(self.scale.back(np.array([value]))[0])
        return found if np.isfinite(found) else None

    def ratio(self, rows: Floats, factor: float | None) -> tuple[float | None, float | None, float | None]:
        """(ratio, low, high) of what the first of two ``rows`` comes back as to the second."""
        logs = replace(
            self,
            scale=replace(
                self.scale,
                back=lambda x: np.log(self.scale.back(x)),
                slope=lambda x: self.scale.slope(x) / self.scale.back(x),
            ),
        )
        found = logs.combined(rows, np.array([1.0, -1.0]), factor)
        one, two, three = (None if value is None else float(np.exp(value)) for value in found)
        return one, two, three

    def combined(
        self, rows: Floats, weights: Floats, factor: float | None
    ) -> tuple[float | None, float | None, float | None]:
        """(size, low, high) of the sum of ``weights`` (k,) times what each of ``rows`` (k, columns) comes back as.

        ``factor``: standard errors that the interval reaches to each side; None without an interval.
        """
        centre = np.array([c.estimate for c in self.model.contrasts(rows)]) + self.model.offset
        size = float(weights @ self.scale.back(centre))
        if not np.isfinite(size):
            return None, None, None
        covariance = None if factor is None else self.model.covariance(rows)
        if covariance is None or factor is None:
            return size, None, None
        values, directions = np.linalg.eigh(covariance)
        kept = values > 1e-14 * max(float(values.max(initial=0.0)), 1e-300)
        half = factor * directions[:, kept] * np.sqrt(values[kept])
        low, high = (self._furthest(centre, half, weights, sign) for sign in (-1.0, 1.0))
        return size, low, high

    def _furthest(self, centre: Floats, half: Floats, weights: Floats, sign: float) -> float | None:
        """The least (``sign`` -1) or most of the sum over centre + half @ u, |u| = 1."""

        def value(u: Floats) -> float:
            return float(sign * (weights @ self.scale.back(centre + half @ u)))

        starts = [half.T @ (sign * weights * self.scale.slope(centre)), half.T @ (sign * weights)]
        starts += [s * row for row in half for s in (1.0, -1.0)]
        found = [self._climb(centre, half, sign * weights, start, value) for start in starts]
        best = [one for one in found if one is not None]
        return sign * max(best) if best and len(best) == len(found) else None

    def _climb(
        self, centre: Floats, half: Floats, weights: Floats, start: Floats, value: Callable[[Floats], float]
    ) -> float | None:
        length = float(np.linalg.norm(start))
        if not np.isfinite(length):
            return None
        if length == 0:
            return value(np.zeros(half.shape[1]))
        u, step = start / length, 1.0
        best = value(u)
        if not np.isfinite(best):
            return None
        for _ in range(STEPS):
            uphill = half.T @ (weights * self.scale.slope(centre + half @ u))
            size = float(np.linalg.norm(uphill))
            if not np.isfinite(size):
                return None
            if size == 0:
                break
            fresh = (1 - step) * u + step * uphill / size
            fresh = fresh / max(float(np.linalg.norm(fresh)), 1e-12)
            then = value(fresh)
            if not np.isfinite(then):
                return None
            if then < best:
                step /= 2
                if step < 1e-6:
                    break
                continue
            done = then - best <= CLOSE * max(abs(then), 1e-300)
            u, best = fresh, then
            if done:
                break
        return best


def undone(result: FamilyResult, undoing: Undoing, raw: Floats) -> FamilyResult:
    """Means, comparisons, findings and bakes in the response's unit; tests and coefficients stay on the scale."""
    means = tuple(_mean(mean, undoing) for mean in result.means)
    comparisons = tuple(_comparison(one, undoing) for one in result.comparisons)
    evidence = tuple(_finding(one, undoing) for one in result.evidence)
    points = []
    for point, observed in zip(result.points, raw, strict=True):
        fitted = undoing.back(point.fitted)
        left = None if fitted is None else float(observed - fitted)
        points.append(replace(point, observed=float(observed), fitted=fitted, residual=left))
    reasons = dict(result.reasons)
    if any(mean.high is None or mean.low is None for mean in means) and "means" not in reasons:
        reasons["means"] = "an interval reaches where the transformation has no way back"
    return replace(
        result,
        means=means,
        comparisons=comparisons,
        evidence=evidence,
        points=tuple(points),
        contrasts=tuple(_chosen(one, undoing) for one in result.contrasts),
        reasons=reasons,
    )


def _mean(mean: Mean, undoing: Undoing) -> Mean:
    slope = float(undoing.scale.slope(np.array([mean.mean]))[0])
    middle = undoing.back(mean.mean)
    if middle is None:  # a predicted value outside the scale's range
        raise NotPossible(
            f"On the scale of the {undoing.scale.name} the mean of {mean.factor} {mean.level} has no way back.",
            where=undoing.response.name,
            try_this="choose another transformation, such as log, or none",
        )
    se = None if mean.se is None or not np.isfinite(slope) else mean.se * slope
    return replace(mean, mean=middle, se=se, low=undoing.back(mean.low), high=undoing.back(mean.high))


def _factor(low: float | None, high: float | None, se: float | None) -> float | None:
    """How many standard errors an interval reaches to each side."""
    return None if low is None or high is None or not se else (high - low) / 2 / se


def _comparison(one: Comparison, undoing: Undoing) -> Comparison:
    variable = undoing.position(one.factor)
    at = tuple((undoing.position(name), undoing.level(undoing.position(name), level)) for name, level in one.at.items())
    rows = Slice(variable, at).rows(undoing.model)
    pair = np.array([rows[undoing.level(variable, one.a)], rows[undoing.level(variable, one.b)]])
    size, low, high = undoing.combined(pair, np.array([1.0, -1.0]), _factor(one.low, one.high, one.se))
    if size is None:
        return replace(one, difference=0.0, se=None, low=None, high=None)
    return replace(one, difference=size, se=_delta(pair, np.array([1.0, -1.0]), undoing), low=low, high=high)


def _delta(rows: Floats, weights: Floats, undoing: Undoing) -> float | None:
    covariance = undoing.model.covariance(rows)
    if covariance is None:
        return None
    centre = np.array([c.estimate for c in undoing.model.contrasts(rows)]) + undoing.model.offset
    pull = weights * undoing.scale.slope(centre)
    found = float(pull @ covariance @ pull)
    return float(np.sqrt(found)) if np.isfinite(found) and found > 0 else None


def _finding(finding: Finding, undoing: Undoing) -> Finding:
    if finding.size is None:
        return finding
    cells = _cells(finding, undoing)
    if cells is None:
        return _on_scale(finding)
    rows, weights = cells
    if finding.kind == "interaction" and undoing.scale.name == "log":
        return _times(finding, rows, undoing)
    contrast = undoing.model.contrast(weights @ rows)
    factor = _factor(finding.low, finding.high, contrast.se)
    size, low, high = undoing.combined(rows, weights, factor)
    facts: dict[str, Any] = {**finding.facts, "scale": undoing.scale.name}
    if finding.kind == "effect" and undoing.scale.name == "log":
        facts["ratio"] = tuple(
            None if v is None else float(np.exp(v)) for v in (finding.size, finding.low, finding.high)
        )
    if finding.kind == "interaction" and "effect_at_from" in facts:
        facts["effect_at_from"] = undoing.combined(rows[:2], np.array([-1.0, 1.0]), None)[0]
        facts["effect_at_to"] = undoing.combined(rows[2:], np.array([-1.0, 1.0]), None)[0]
    return replace(
        finding,
        size=size,
        low=low,
        high=high,
        direction="none" if not size else "up" if size > 0 else "down",
        matters=judge(low, high, undoing.response.matters),
        facts=facts,
    )


def _times(finding: Finding, rows: Floats, undoing: Undoing) -> Finding:
    """An interaction of logarithms: how many times as large one ratio is as the other.

    Equal ratios differ in the response's unit wherever the levels do, which is no interaction on the scale that
    was analysed; so it gets no size in that unit.
    """
    first, second = (c.estimate for c in undoing.model.contrasts(np.array([rows[1] - rows[0], rows[3] - rows[2]])))
    size, low, high = finding.size, finding.low, finding.high
    apart = low is not None and high is not None and (low > 0 or high < 0)
    facts: dict[str, Any] = {
        **finding.facts,
        "scale": undoing.scale.name,
        "times": tuple(None if v is None else float(np.exp(v)) for v in (size, low, high)),
        "effect_at_from": float(np.exp(first)),
        "effect_at_to": float(np.exp(second)),
    }
    return replace(finding, size=None, low=None, high=None, matters="yes" if apart else "unsure", facts=facts)


def _chosen(one: ChosenContrast, undoing: Undoing) -> ChosenContrast:
    """A chosen contrast of what comes back; a slope between both ends of the amount."""
    variable = undoing.position(one.factor)
    at = {undoing.position(name): undoing.level(undoing.position(name), level) for name, level in one.at.items()}
    weights = weights_of(undoing.model, one.name)
    levels = undoing.model.variables[variable].levels
    if weights is None:
        values = undoing.model.variables[variable].values
        assert values is not None
        weights = np.zeros(len(levels))
        weights[0], weights[-1] = -1 / (values[-1] - values[0]), 1 / (values[-1] - values[0])
    rows = np.array([undoing.model.row({**at, variable: level}) for level in range(len(levels))])
    factor = None if one.df is None else t_quantile(undoing.confidence, one.df)
    size, low, high = undoing.combined(rows, weights, factor)
    if size is None:
        return replace(one, estimate=0.0, se=None, low=None, high=None, df=None, t=None, p=None)
    return replace(one, estimate=size, se=_delta(rows, weights, undoing), low=low, high=high)


def _on_scale(finding: Finding) -> Finding:
    """What has no treatments to stand for it keeps its direction and p, but no size in the response's unit."""
    return replace(finding, size=None, low=None, high=None, matters="unsure")


def _cells(finding: Finding, undoing: Undoing) -> tuple[Floats, Floats] | None:
    """The treatments (k, columns) a finding compares, and their weights (k,)."""
    model, facts = undoing.model, finding.facts
    variables = [undoing.position(name) for name in finding.variables]
    if finding.kind == "effect":
        v = variables[0]
        return _rows(undoing, [{v: facts["from"]}, {v: facts["to"]}]), np.array([-1.0, 1.0])
    if finding.kind == "centre" and (bend := curvature_of(model.variables)) is not None:
        return np.array([model.row({bend: 1}), model.row({bend: 0})]), np.array([1.0, -1.0])
    if finding.kind == "bend":
        ends = _rows(undoing, [{variables[0]: facts["from"]}, {variables[0]: facts["to"]}])
        term = model.find(variables[0], variables[0])
        if term is None:
            return None
        return np.vstack([ends.mean(axis=0) - model.only(term, np.ones(1)), ends]), np.array([1.0, -0.5, -0.5])
    if finding.kind == "interaction" and "by_from" in facts and "of" in facts:
        of, by = undoing.position(str(facts["of"])), undoing.position(str(facts["by"]))
        cells = [
            {of: facts["from"], by: facts["by_from"]},
            {of: facts["to"], by: facts["by_from"]},
            {of: facts["from"], by: facts["by_to"]},
            {of: facts["to"], by: facts["by_to"]},
        ]
        return _rows(undoing, cells), np.array([1.0, -1.0, -1.0, 1.0])
    return None


def _rows(undoing: Undoing, cells: Sequence[dict[int, object]]) -> Floats:
    return np.array([undoing.model.row({v: undoing.level(v, level) for v, level in cell.items()}) for cell in cells])
