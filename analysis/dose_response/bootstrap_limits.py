"""Which limits do the refitted curves give to what is read off a curve?

BCa limits; the acceleration comes from what each bake pulls (its leftover times its influence on
the number, the infinitesimal jackknife), so that no further refits are needed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.special import ndtr

from analysis.dose_response.bootstrap import DRAWS, Resampled
from analysis.dose_response.curves import ShapeFit, joint_jacobian
from analysis.dose_response.effective import dose_at_fraction
from analysis.dose_response.goals import Aim, smallest_good_enough
from analysis.dose_response.reading import turning_dose
from analysis.dose_response.shape import AnyArray, Array
from analysis.dose_response.tails import t_quantile
from analysis.dose_results import Curve, EffectiveDose, Optimum, Recommended
from analysis.estimates import Interval
from analysis.resampling import acceleration, bca_limits

_POINTS = 401
_FEW = 0.9  # share of resamples that has to give a number


def limits_of(
    curve: Curve, fit: ShapeFit, number: int, aim: Aim, drawn: Resampled, confidence: float
) -> tuple[Curve, dict[str, str]]:
    """The curve with BCa limits, and what could not be had."""
    reasons: dict[str, str] = {}
    if drawn.lost > 0.01 * DRAWS:
        reasons["bootstrap"] = f"{drawn.lost} of {DRAWS} refits did not settle and were left out"
    if drawn.lost > (1 - _FEW) * DRAWS:
        reasons["bootstrap"] += "; too many, so that the standard intervals stand"
        return curve, reasons
    inner = drawn.inner[np.isfinite(drawn.inner).all(axis=1)]
    reader = _Limits(fit, number, confidence, inner, reasons)
    made = replace(
        curve,
        parameters=reader.parameters(curve),
        optimum=reader.best(curve.optimum, aim, drawn),
        effective=tuple(reader.effective(each, drawn) for each in curve.effective),
        recommended=reader.recommended(curve.recommended, aim, drawn),
    )
    return made, reasons


class _Limits:
    def __init__(self, fit: ShapeFit, number: int, confidence: float, inner: Array, reasons: dict[str, str]) -> None:
        self.fit, self.number, self.confidence = fit, number, confidence
        # Few bakes: read as far out as Student's t lies, not the normal (Hesterberg 2015, Am. Stat. 69:371).
        self.wide = 2 * float(ndtr(t_quantile(confidence, fit.df))) - 1
        self.inner, self.reasons = inner, reasons
        self.doses = fit.layout.parts[number].doses
        self.fine = np.linspace(self.doses[0], self.doses[-1], _POINTS)
        layout = fit.layout
        rows = layout.whiten(joint_jacobian(layout, fit.shape, np.concatenate([fit.inner.ravel(), fit.block_effects])))
        left = layout.whiten(layout.y - fit.fitted)
        self.influence = (fit.inverse @ rows.T) * left  # (parameters, n)

    def _limits(self, draws: Array, estimate: float, row: Array | None) -> tuple[float, float] | None:
        known = draws[np.isfinite(draws)]
        if known.size < _FEW * DRAWS:
            return None
        bent = 0.0
        if row is not None and np.isfinite(row).all():
            size = self.fit.shape.size
            at = slice(self.number * size, (self.number + 1) * size)
            bent = acceleration(row @ self.influence[at])
        low, high = bca_limits(known, estimate, bent, self.wide)
        return min(low, estimate), max(high, estimate)

    def _row(self, read: Callable[[AnyArray], complex]) -> Array:
        """Derivative of a number by the curve's inner parameters."""
        inner = self.fit.inner[self.number]
        out = np.empty(inner.size)
        for k in range(inner.size):
            shifted = inner.astype(complex)
            shifted[k] += 1e-30j
            out[k] = np.imag(read(shifted)) / 1e-30
        return out

    def parameters(self, curve: Curve) -> dict[str, Interval]:
        shape, centre = self.fit.shape, self.fit.layout.centre
        reports = [shape.report(p, centre) for p in self.inner]
        out = {}
        for name, value in curve.parameters.items():
            draws = np.array([np.real(one[name]) for one in reports], dtype=float)
            row = self._row(lambda p, name=name: complex(shape.report(p, centre)[name]))  # type: ignore[misc]
            ends = self._limits(draws, value.estimate, row)
            if ends is None:
                self.reasons[f"bootstrap {name}"] = "too few resamples gave a number; the standard interval stands"
                out[name] = value
            else:
                out[name] = Interval(
                    estimate=value.estimate, se=float(np.nanstd(draws, ddof=1)), low=ends[0], high=ends[1]
                )
        return out

    def _top(self, y: Array) -> Array:
        """Dose of the highest point of each curve (draws, points), between the points by a parabola."""
        at = y.argmax(axis=1)
        inside = np.clip(at, 1, self.fine.size - 2)
        rows = np.arange(y.shape[0])
        before, here, after = y[rows, inside - 1], y[rows, inside], y[rows, inside + 1]
        bend = before - 2 * here + after
        with np.errstate(all="ignore"):
            shift = np.where(bend < 0, 0.5 * (before - after) / bend, 0.0)
        dose = self.fine[inside] + np.clip(shift, -1, 1) * (self.fine[1] - self.fine[0])
        return np.where((at == 0) | (at == self.fine.size - 1), self.fine[at], dose)

    def best(self, best: Optimum | None, aim: Aim, drawn: Resampled) -> Optimum | None:
        if best is None or aim.goal == "target":
            return best
        sign = -1.0 if aim.goal == "minimise" else 1.0
        y = sign * drawn.heights(self.fit, self.fine)
        draws = self._top(y[np.isfinite(y).all(axis=1)])

        def read(p: AnyArray) -> complex:
            found = turning_dose(self.fit.shape, p, self.fit.layout.centre, self.doses, sign)
            return complex(np.nan) if found is None else found

        ends = self._limits(draws, best.dose, self._row(read))
        if ends is None:
            self.reasons["bootstrap best dose"] = "too few resamples gave a number; the standard interval stands"
            return best
        edge = float((draws <= self.fine[0]).mean()), float((draws >= self.fine[-1]).mean())
        if max(edge) > (1 - self.confidence) / 2:
            self.reasons["bootstrap best dose"] = "in some resamples the best lies at an end of the doses baked"
        return replace(best, low=ends[0], high=ends[1], se=float(draws.std(ddof=1)), method="bootstrap")

    def effective(self, each: EffectiveDose, drawn: Resampled) -> EffectiveDose:
        if each.dose is None:
            return each
        low, high = float(self.doses[0]), float(self.doses[-1])
        shape = self.fit.shape
        if shape.turns and shape.name not in ("quadratic", "hump"):
            draws = self._way(drawn, each.fraction)
        else:
            draws = np.array([np.real(dose_at_fraction(self.fit, p, each.fraction, low, high)) for p in self.inner])
        row = self._row(lambda p: dose_at_fraction(self.fit, p, each.fraction, low, high))
        ends = self._limits(draws, each.dose, row)
        if ends is None:
            key = f"bootstrap effective dose {each.fraction:g}"
            self.reasons[key] = "too few resamples gave a number; the standard interval stands"
            return each
        return replace(each, low=ends[0], high=ends[1])

    def _way(self, drawn: Resampled, fraction: float) -> Array:
        """Doses at a fraction of the way to the turning point, read off the fine points."""
        y = drawn.heights(self.fit, self.fine)
        y = y[np.isfinite(y).all(axis=1)]
        own = self.fit.mean(self.number, self.fine)
        if not 0 < int(own.argmax()) < own.size - 1:
            y = -y
        top = y.max(axis=1)
        reached = (y - y[:, :1]) >= fraction * (top - y[:, 0])[:, None]
        at = np.maximum(reached.argmax(axis=1), 1)
        rows = np.arange(y.shape[0])
        wanted = y[:, 0] + fraction * (top - y[:, 0])
        before, after = y[rows, at - 1], y[rows, at]
        with np.errstate(all="ignore"):
            share = np.where(after > before, (wanted - before) / (after - before), 1.0)
        return np.asarray(self.fine[at - 1] + np.clip(share, 0, 1) * (self.fine[at] - self.fine[at - 1]))

    def recommended(self, good: Recommended | None, aim: Aim, drawn: Resampled) -> Recommended | None:
        if good is None or aim.goal == "target":
            return good
        fine = np.unique(np.concatenate([self.fine, self.doses]))
        y = drawn.heights(self.fit, fine)
        draws = smallest_good_enough(fine, y[np.isfinite(y).all(axis=1)], aim)
        ends = self._limits(draws, good.dose, None)
        return good if ends is None else replace(good, low=ends[0], high=ends[1])
