"""What is the best that can be had at each distance from the middle?

Ridge analysis (Hoerl 1959; Draper 1963, Technometrics 5:469): on a sphere of radius R around the middle the
largest response lies where (B - mu I) z = -b / 2 with mu above every eigenvalue of B.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.surfaces.quadratic import Quadratic, model_rows
from analysis.surfaces.region import Region
from analysis.surfaces.results import RidgePoint

Floats = NDArray[np.float64]

STEPS = 8


def ridge(quadratic: Quadratic, region: Region, confidence: float, *, sign: float) -> tuple[RidgePoint, ...]:
    """From the middle out to the furthest setting that was baked."""
    found = []
    for radius in np.linspace(0, region.reach, STEPS + 1):
        point = best_on_sphere(quadratic, float(radius), sign=sign)
        response, low, high = quadratic.interval(model_rows(point)[0], confidence)
        found.append(
            RidgePoint(
                distance=float(radius),
                settings=quadratic.coding.named(point),
                response=response,
                low=low,
                high=high,
                inside=bool(region.inside(point)[0]),
            )
        )
    return tuple(found)


def best_on_sphere(quadratic: Quadratic, radius: float, *, sign: float) -> Floats:
    """The settings (k,) at ``radius`` where ``sign`` times the response is largest."""
    values, vectors = np.linalg.eigh(sign * quadratic.bends)
    along = vectors.T @ (sign * quadratic.linear) / 2
    if radius <= 0:
        return np.zeros(quadratic.k)
    top, size = values[-1], float(np.linalg.norm(along))
    # |z(mu)| falls from infinity (or a limit) at mu = top to 0; z(mu) = along / (mu - values).
    low, high = 0.0, size / radius + float(values[-1] - values[0]) + 1e-300
    scale = max(size, float(np.abs(values).max()), 1e-300)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for _ in range(200):
            middle = (low + high) / 2
            length = float(np.sqrt(np.nansum((along / (middle + top - values)) ** 2)))
            low, high = (middle, high) if length > radius else (low, middle)
        gap = high + top - values
        point = np.where(gap > 1e-13 * scale, along / np.where(gap > 0, gap, 1.0), 0.0)
    short = radius**2 - float(point @ point)
    if short > 1e-9 * radius**2:  # the slope is at right angles to the steepest axis: either way is as good
        point[-1] += np.sqrt(short) * (1.0 if along[-1] >= 0 else -1.0)
    return np.asarray(vectors @ point)


def nearest_at(quadratic: Quadratic, region: Region, target: float) -> Floats | None:
    """The setting nearest to the middle that gives ``target``; None where none inside does."""
    sign = 1.0 if target > float(quadratic.mean(np.zeros(quadratic.k))[0]) else -1.0
    low, high = 0.0, region.reach
    if sign * float(quadratic.mean(best_on_sphere(quadratic, high, sign=sign))[0]) < sign * target:
        return None
    for _ in range(100):
        middle = (low + high) / 2
        reached = sign * float(quadratic.mean(best_on_sphere(quadratic, middle, sign=sign))[0])
        low, high = (low, middle) if reached >= sign * target else (middle, high)
    point = best_on_sphere(quadratic, high, sign=sign)
    hit = abs(float(quadratic.mean(point)[0]) - target) <= 1e-6 * max(abs(target), 1e-12)
    return point if hit and region.inside(point)[0] else None


def along_line(quadratic: Quadratic, start: Floats, end: Floats, target: float) -> Floats:
    """Where the straight way from ``start`` to ``end``, which lie on either side of it, meets ``target``."""
    sign = 1.0 if quadratic.mean(end)[0] > quadratic.mean(start)[0] else -1.0
    low, high = 0.0, 1.0
    for _ in range(100):
        middle = (low + high) / 2
        reached = sign * float(quadratic.mean(start + middle * (end - start))[0]) >= sign * target
        low, high = (low, middle) if reached else (middle, high)
    return np.asarray(start + high * (end - start))
