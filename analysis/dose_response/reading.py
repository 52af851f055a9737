"""At which dose does a curve turn, or reach a height, when no formula gives it?

The dose is found on the curve itself; a last Newton step carries complex parameters along,
so that the complex step sees the exact derivative of the dose by the parameters (the
implicit function theorem in one line).
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq

from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.shape import AnyArray, Array, Shape

POINTS = 401
_STEP = 1e-4  # of the range; a central difference over it is exact to about 1e-8


def turning_dose(shape: Shape, p: AnyArray, centre: float, doses: Array, sign: float) -> complex | None:
    """Dose strictly inside ``doses`` at which ``sign`` times the curve is highest; None when that is an end.

    ``p`` are inner parameters, real or complex.
    """
    low, high = float(doses[0]), float(doses[-1])
    step = _STEP * (high - low)
    real = np.real(p).astype(float)

    def slope(x: float, at: AnyArray) -> complex:
        ends = shape.mean(np.array([x - step, x + step]), at, centre)
        return complex((ends[1] - ends[0]) / (2 * step))

    x = np.unique(np.concatenate([np.linspace(low, high, POINTS), doses]))
    top = int(np.argmax(sign * np.real(shape.mean(x, real, centre))))
    if top in (0, x.size - 1):
        return None
    before, after = x[top - 1], x[top + 1]
    if not np.real(slope(before, real)) * np.real(slope(after, real)) < 0:
        return None
    dose = float(brentq(lambda d: float(np.real(slope(d, real))), before, after, xtol=1e-12 * max(abs(high), abs(low))))
    bend = np.real(slope(dose + step, real) - slope(dose - step, real)) / (2 * step)
    return dose - slope(dose, p) / bend if bend else complex(dose)


def reaching_dose(shape: Shape, p: AnyArray, centre: float, height: complex, low: float, high: float) -> complex | None:
    """First dose between ``low`` and ``high`` at which the curve is at ``height``; None when it never is."""
    real = np.real(p).astype(float)
    x = np.linspace(low, high, POINTS)
    gaps = np.real(shape.mean(x, real, centre)) - float(np.real(height))
    crossed = np.flatnonzero(gaps[:-1] * gaps[1:] <= 0)
    if not crossed.size:
        return None
    a, b = float(x[crossed[0]]), float(x[crossed[0] + 1])

    def gap(dose: float, at: AnyArray) -> complex:
        return complex(shape.mean(np.array([dose]), at, centre)[0])

    wanted = float(np.real(height))
    if gap(a, real).real == wanted:
        dose = a
    else:
        dose = float(brentq(lambda d: gap(d, real).real - wanted, a, b, xtol=1e-13 * max(abs(low), abs(high))))
    step = 1e-6 * (high - low)
    steep = (gap(dose + step, real) - gap(dose - step, real)).real / (2 * step)
    return dose - (gap(dose, p) - height) / steep if steep else complex(dose)


def fraction_dose(fit: ShapeFit, p: AnyArray, fraction: float, doses: Array) -> complex:
    """Dose at ``fraction`` of the way from the lowest baked dose to the curve's turning point."""
    shape, centre, low = fit.shape, fit.layout.centre, float(doses[0])
    turns = [turning_dose(shape, p, centre, doses, sign) for sign in (1.0, -1.0)]
    if shape.free and turns == [None, None]:
        turns = [complex(doses[-1])]  # it goes all the way
    for turn in turns:
        if turn is None:
            continue
        # The curve is level at its turning point, so that moving it does not move the height.
        start, end = (complex(shape.mean(np.array([d]), p, centre)[0]) for d in (low, float(np.real(turn))))
        found = reaching_dose(shape, p, centre, start + fraction * (end - start), low, float(np.real(turn)))
        if found is not None:
            return found
    return complex(np.nan)
