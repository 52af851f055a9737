"""Do bakes scatter more where the curve is higher, or at some doses?

Two models of unequal spread beside the equal one:

- "power": the standard deviation is proportional to |mean|^exponent;
- "per dose": every dose has its own standard deviation.

Their numbers maximise the likelihood with the curve replaced by its tangent, fit and weights in
turn until neither moves (generalised least squares; Davidian & Carroll 1987, JASA 82:1079). The
model of lowest AICc is used; a likelihood-ratio test says whether equal spread would do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize, minimize_scalar

from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.layout import Layout
from analysis.dose_response.settling import settle
from analysis.dose_response.tails import chi_squared_above
from analysis.dose_response.variances import criterion, deviance, tangent
from analysis.dose_response.whitening import Errors

Array = npt.NDArray[np.float64]
_STEEPEST = 4.0  # exponents beyond this, and variances further apart than e^8, are not believed
_FURTHEST = 8.0
_FEWEST = 3  # bakes at a dose for a standard deviation of its own


@dataclass(frozen=True, kw_only=True, eq=False)
class Spread:
    """One model of the spread, fitted with its curve. ``deviance`` without the constant."""

    kind: str
    fit: ShapeFit
    weights: Array | None
    numbers: int
    deviance: float
    exponent: float | None = None

    @property
    def aicc(self) -> float:
        k = self.fit.parameters + 1 + len(self.fit.layout.random) + self.numbers
        n = self.fit.layout.n
        return self.deviance + 2 * k + 2 * k * (k + 1) / max(n - k - 1, 1)


@dataclass(frozen=True, kw_only=True, eq=False)
class SpreadChoice:
    """The model used, its test against equal spread, and why others were not offered."""

    used: Spread
    statistic: float
    df: int
    p: float
    of: str
    refused: dict[str, str]


def choose_spread(fit: ShapeFit) -> SpreadChoice:
    """Equal, power of the mean or one for each dose? ``fit`` is the curve under equal spread."""
    equal = Spread(kind="equal", fit=fit, weights=fit.layout.weights, numbers=0, deviance=_deviance(fit))
    refused: dict[str, str] = {}
    offered = [equal]
    for kind, why in (("power", _no_power(fit)), ("per dose", _no_doses(fit.layout))):
        found = None if why else _iterate(fit, kind)
        if found is None:
            refused[kind] = why or "its spread runs away: the bakes do not fix it"
        else:
            offered.append(found)
    used = min(offered, key=lambda one: one.aicc)
    tested = used if used is not equal else min(offered[1:], key=lambda one: one.aicc, default=equal)
    statistic = max(equal.deviance - tested.deviance, 0.0)
    p = chi_squared_above(statistic, tested.numbers) if tested.numbers else 1.0
    return SpreadChoice(used=used, statistic=statistic, df=tested.numbers, p=p, of=tested.kind, refused=refused)


def weights_of(fit: ShapeFit, kind: str) -> tuple[Array, float | None, int] | None:
    """(weights (n,) around 1, exponent, how many numbers) that make the bakes likeliest around ``fit``."""
    layout = fit.layout
    given = np.ones(layout.n) if layout.weights is None else layout.weights
    y, columns = tangent(fit)

    ratios = () if layout.errors is None else layout.errors.ratios

    def loss(weights: Array) -> float:
        # The ratios of days are held here and move in ``settle``.
        errors = Errors(groups=layout.random, ratios=ratios, weights=weights)
        return criterion(errors, y, columns, restricted=False)

    if kind == "power":
        logs = np.log(np.abs(fit.fitted))
        logs = logs - logs.mean()
        found = minimize_scalar(
            lambda e: loss(given * np.exp(-2 * e * logs)),
            bounds=(-_STEEPEST, _STEEPEST),
            method="bounded",
            options={"xatol": 1e-9},
        )
        exponent = float(found.x)
        if abs(exponent) > _STEEPEST - 1e-3:
            return None
        return given * np.exp(-2 * exponent * logs), exponent, 1
    which = np.unique(layout.dose, return_inverse=True)[1]
    count = int(which.max())

    def weights(logs: Array) -> Array:
        return np.asarray(given * np.exp(-np.concatenate([[0.0], logs]))[which])

    end = minimize(
        lambda logs: loss(weights(logs)), np.zeros(count), method="L-BFGS-B", bounds=[(-_FURTHEST, _FURTHEST)] * count
    )
    if np.any(np.abs(end.x) > _FURTHEST - 1e-3):
        return None
    found_weights = weights(end.x)
    return found_weights / np.exp(np.log(found_weights).mean()), None, count


def _iterate(fit: ShapeFit, kind: str) -> Spread | None:
    at, before = fit, np.inf
    for _ in range(25):
        found = weights_of(at, kind)
        if found is None:
            return None
        weights, exponent, numbers = found
        moved = settle(at, weights, estimated=numbers)
        if moved is None:
            return None
        at, now = moved, _deviance(moved)
        if abs(before - now) < 1e-8:
            break
        before = now
    return Spread(kind=kind, fit=at, weights=weights, numbers=numbers, deviance=now, exponent=exponent)


def _deviance(fit: ShapeFit) -> float:
    return deviance(fit)


def _no_power(fit: ShapeFit) -> str | None:
    if fit.shape.name == "flat":
        return "a flat curve has one mean only"
    lowest, highest = float(fit.fitted.min()), float(fit.fitted.max())
    if lowest <= 0 <= highest or min(abs(lowest), abs(highest)) < 1e-6 * max(abs(lowest), abs(highest)):
        return "the curve comes near 0 or crosses it, where a power of the mean has no meaning"
    return None


def _no_doses(layout: Layout) -> str | None:
    counts = np.unique(layout.dose, return_counts=True)[1]
    if counts.min() < _FEWEST:
        return f"it needs {_FEWEST} bakes at every dose, and one has {int(counts.min())}"
    return None
