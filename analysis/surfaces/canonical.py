"""In which directions does the surface bend, and what shape does that make?

Along the eigenvectors of B the response changes by the eigenvalue times the squared distance (Box &
Wilson 1951, J. Royal Statistical Society B 13:1). An eigenvalue's standard error is that of the same
combination of coefficients with its vector held, which is the delta method exactly to first order.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.surfaces.quadratic import Quadratic, model_rows
from analysis.surfaces.results import Axis, Shape

Floats = NDArray[np.float64]


def canonical_axes(quadratic: Quadratic, confidence: float) -> tuple[Axis, ...]:
    """The axes, largest eigenvalue first; each vector with its largest component upwards."""
    values, vectors = np.linalg.eigh(quadratic.bends)
    found = []
    for value, vector in sorted(zip(values, vectors.T, strict=True), key=lambda pair: -pair[0]):
        vector = vector * np.sign(vector[np.argmax(np.abs(vector))])
        row = _bend_row(vector)
        _, low, high = quadratic.interval(row, confidence)
        slope, slope_low, slope_high = quadratic.interval(_slope_row(quadratic, vector), confidence)
        found.append(
            Axis(
                eigenvalue=float(value),
                low=low,
                high=high,
                bend=_bend(low, high),
                direction=dict(zip(quadratic.coding.names, map(float, vector), strict=True)),
                change=dict(zip(quadratic.coding.names, map(float, vector * quadratic.coding.half), strict=True)),
                slope=slope,
                slope_low=slope_low,
                slope_high=slope_high,
            )
        )
    return tuple(found)


def _bend_row(vector: Floats) -> Floats:
    """u'Bu as a row over beta: squares of the components, and products of pairs."""
    row = model_rows(vector)[0]
    row[: 1 + len(vector)] = 0.0
    return np.asarray(row)


def _slope_row(quadratic: Quadratic, vector: Floats) -> Floats:
    row = np.zeros(len(quadratic.beta))
    row[1 : 1 + quadratic.k] = vector
    return row


def _bend(low: float | None, high: float | None) -> Literal["down", "up", "flat"]:
    if low is None or high is None or low <= 0 <= high:
        return "flat"
    return "down" if high < 0 else "up"


def signs(axes: tuple[Axis, ...]) -> Literal["maximum", "minimum", "saddle"]:
    """The shape by the signs of the eigenvalues alone."""
    if all(axis.eigenvalue < 0 for axis in axes):
        return "maximum"
    return "minimum" if all(axis.eigenvalue > 0 for axis in axes) else "saddle"


def shape(axes: tuple[Axis, ...]) -> Shape | None:
    """What the intervals of the eigenvalues allow to say; None without anything to judge by.

    A direction whose eigenvalue may be 0 makes a ridge (or a valley): rising where the slope along it at
    the middle is not 0 either way, stationary where it may be.
    """
    if any(axis.low is None for axis in axes):
        return None
    bends = {axis.bend for axis in axes}
    if bends == {"flat"}:
        return "flat"
    if {"down", "up"} <= bends:
        return "saddle"
    if "flat" not in bends:
        return "maximum" if bends == {"down"} else "minimum"
    rising = any(_rises(axis) for axis in axes if axis.bend == "flat")
    if "down" in bends:
        return "rising ridge" if rising else "stationary ridge"
    return "rising valley" if rising else "stationary valley"


def _rises(axis: Axis) -> bool:
    return axis.slope_low is not None and axis.slope_high is not None and not axis.slope_low <= 0 <= axis.slope_high
