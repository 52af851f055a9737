"""Which curves may a response follow as the dose goes up?

Every shape is linear in some of its parameters once the others are known:

    mean(x) = basis(x, theta) @ beta

``theta`` (the nonlinear ones) and ``beta`` together are the *inner* parameters, in this
order, that the fitter works on; ``report`` turns them into the names a reader sees:

| shape | mean of the response at dose x | reported names |
|---|---|---|
| flat | mean | mean |
| line | intercept + slope x | intercept, slope |
| quadratic | intercept + slope x + curvature x² | intercept, slope, curvature |
| linear-plateau | intercept + slope min(x, breakpoint) | intercept, slope, breakpoint, plateau |
| quadratic-plateau | plateau + curvature min(x - breakpoint, 0)² | intercept, slope, curvature, breakpoint, plateau |
| logistic-3 | b1 / (1 + exp(b2 - b3 x)) | b1, b2, b3, midpoint |
| logistic-4 | b0 + (b1 - b0) / (1 + exp(b2 - b3 x)) | b0 (lower), b1 (upper), b2, b3, midpoint |
| log-logistic-3 | d / (1 + (x/e)^b) | b, d, e |
| log-logistic-4 | c + (d - c) / (1 + (x/e)^b) | b, c (lower), d (upper), e |
| hump | floor + height exp(-(x - best)² / (2 width²)) | floor, height, best, width |
| saturation | Vm x / (K + x) | Vm, K |
| gompertz-3 | d exp(-exp(b (x - e))) | b, d, e |
| gompertz-4 | c + (d - c) exp(-exp(b (x - e))) | b, c, d, e |
| hormesis-4 | (d + f x) / (1 + (x/e)^b) | b, d, e, f |
| hormesis-5 | c + (d - c + f x) / (1 + (x/e)^b) | b, c, d, e, f |
| biphasic | floor + height rise(x) (1 - fall(x)) | floor, height, (rise, fall) midpoint, (rise, fall) steepness |

The rise and the fall of a biphasic curve are logistics with their own midpoints and steepness.

The slope of a quadratic-plateau is the one at dose 0; a negative b of a log-logistic rises.
A hump with a negative height is a pit. All functions here are safe for complex
arguments, so that derivatives can be taken by the complex step (exact to rounding).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analysis.dose_response.bending_shapes import BENDING
from analysis.dose_response.shape import AnyArray, Array, Shape
from analysis.dose_response.shape import s_curve as _logistic

__all__ = ["FAMILIES", "SHAPES", "AnyArray", "Array", "Shape"]


def _below(x: Array, theta: AnyArray) -> AnyArray:
    gap = x - theta[..., 0:1]
    return np.where(np.real(gap) < 0, gap, 0)


def _s_curve(sign: int) -> Callable[[Array, AnyArray], AnyArray]:
    return lambda x, theta: _logistic(sign * np.exp(theta[..., 1:2]) * (x - theta[..., 0:1]))


def _log_s_curve(sign: int) -> Callable[[Array, AnyArray], AnyArray]:
    # Dose 0 has no logarithm; a dose of 1e-300 gives the limit to all digits.
    return lambda x, theta: _logistic(
        sign * np.exp(theta[..., 1:2]) * (np.log(np.maximum(x, 1e-300)) - theta[..., 0:1])
    )


def _s_fused(sign: int, logarithm: bool) -> Callable[[Array, Array], tuple[Array, list[Array]]]:
    """The S-curve and its derivatives by midpoint and log steepness, one exponential for all."""

    def fused(x: Array, theta: Array) -> tuple[Array, list[Array]]:
        steep = sign * np.exp(theta[..., 1:2])
        at = np.log(np.maximum(x, 1e-300)) if logarithm else x
        t = steep * at - steep * theta[..., 0:1]
        with np.errstate(over="ignore"):  # too large becomes infinite, and its reciprocal 0
            wave = np.exp(np.negative(t))
        wave += 1
        np.reciprocal(wave, out=wave)
        by_t = wave - wave * wave
        return wave, [by_t * -steep, by_t * t]

    return fused


def _s_slopes(sign: int, logarithm: bool) -> Callable[[Array, Array], Array]:
    fused = _s_fused(sign, logarithm)
    return lambda x, theta: np.stack(fused(x, theta)[1], axis=-1)[..., None, :]


def _bell_slopes(x: Array, theta: Array) -> Array:
    width = np.exp(theta[..., 1:2])
    away = (x - theta[..., 0:1]) / width
    bell = np.exp(-0.5 * away**2)
    return np.stack([bell * away / width, bell * away**2], axis=-1)[..., None, :]


def _bell(x: Array, theta: AnyArray) -> AnyArray:
    return np.exp(-0.5 * ((x - theta[..., 0:1]) / np.exp(theta[..., 1:2])) ** 2)


def _breakpoint_bounds(doses: Array) -> tuple[Array, Array]:
    # Between the two lowest doses every breakpoint fits alike; the upper one stands for them.
    return doses[1:2], doses[-1:]


def _logistic_bounds(doses: Array) -> tuple[Array, Array]:
    span, gap = doses[-1] - doses[0], np.diff(doses).min()
    steep = max(12 / gap, 2 / span)
    return np.array([doses[0] - span / 2, np.log(0.5 / span)]), np.array([doses[-1] + span / 2, np.log(steep)])


def _log_logistic_bounds(doses: Array) -> tuple[Array, Array]:
    baked = doses[doses > 0]
    return np.log([baked[0] / 3, 0.3]), np.log([baked[-1] * 3, 20.0])


def _hump_bounds(doses: Array) -> tuple[Array, Array]:
    span, gap = doses[-1] - doses[0], np.diff(doses).min()
    return np.array([doses[0], np.log(0.4 * gap)]), np.array([doses[-1], np.log(1.5 * span)])


def _report_flat(p: AnyArray, centre: float) -> dict[str, complex]:
    return {"mean": p[0]}


def _report_line(p: AnyArray, centre: float) -> dict[str, complex]:
    return {"intercept": p[0] - p[1] * centre, "slope": p[1]}


def _report_quadratic(p: AnyArray, centre: float) -> dict[str, complex]:
    return {
        "intercept": p[0] - p[1] * centre + p[2] * centre**2,
        "slope": p[1] - 2 * p[2] * centre,
        "curvature": p[2],
    }


def _report_linear_plateau(p: AnyArray, centre: float) -> dict[str, complex]:
    return {"intercept": p[1] - p[2] * p[0], "slope": p[2], "breakpoint": p[0], "plateau": p[1]}


def _report_quadratic_plateau(p: AnyArray, centre: float) -> dict[str, complex]:
    return {
        "intercept": p[1] + p[2] * p[0] ** 2,
        "slope": -2 * p[2] * p[0],
        "curvature": p[2],
        "breakpoint": p[0],
        "plateau": p[1],
    }


def _report_logistic_3(sign: int) -> Callable[[AnyArray, float], dict[str, complex]]:
    def report(p: AnyArray, centre: float) -> dict[str, complex]:
        b3 = sign * np.exp(p[1])
        return {"b1": p[2], "b2": b3 * p[0], "b3": b3, "midpoint": p[0]}

    return report


def _report_logistic_4(p: AnyArray, centre: float) -> dict[str, complex]:
    rising = np.real(p[3]) >= 0
    b3 = np.exp(p[1]) * (1 if rising else -1)
    lower, upper = (p[2], p[2] + p[3]) if rising else (p[2] + p[3], p[2])
    return {"b0": lower, "b1": upper, "b2": b3 * p[0], "b3": b3, "midpoint": p[0]}


def _report_log_logistic_3(sign: int) -> Callable[[AnyArray, float], dict[str, complex]]:
    return lambda p, centre: {"b": -sign * np.exp(p[1]), "d": p[2], "e": np.exp(p[0])}


def _report_log_logistic_4(p: AnyArray, centre: float) -> dict[str, complex]:
    rising = np.real(p[3]) >= 0
    lower, upper = (p[2], p[2] + p[3]) if rising else (p[2] + p[3], p[2])
    return {"b": np.exp(p[1]) * (-1 if rising else 1), "c": lower, "d": upper, "e": np.exp(p[0])}


def _report_hump(p: AnyArray, centre: float) -> dict[str, complex]:
    return {"floor": p[2], "height": p[3], "best": p[0], "width": np.exp(p[1])}


def _plateau(name: str, power: int, report: Callable[[AnyArray, float], dict[str, complex]]) -> Shape:
    return Shape(
        name=name,
        powers=(0,),
        distinct=4,
        q=1,
        bounds=_breakpoint_bounds,
        steps=(60,),
        low_ok=True,
        wave=lambda x, theta: _below(x, theta) ** power,
        slopes=lambda x, theta: np.where(x < theta[..., 0:1], -power * _below(x, theta) ** (power - 1), 0)[
            ..., None, None
        ],
        report=report,
    )


_FLAT = Shape(name="flat", powers=(0,), distinct=1, report=_report_flat)
_LINE = Shape(name="line", powers=(0, 1), distinct=2, report=_report_line)
_QUADRATIC = Shape(name="quadratic", powers=(0, 1, 2), distinct=3, turns=True, report=_report_quadratic)

#: Shape name -> its versions. The three-parameter logistics have a rising and a falling
#: one (their other limit is 0, so that turning them over is another curve); the better is kept.
SHAPES: dict[str, tuple[Shape, ...]] = {
    "flat": (_FLAT,),
    "line": (_LINE,),
    "quadratic": (_QUADRATIC,),
    "linear-plateau": (_plateau("linear-plateau", 1, _report_linear_plateau),),
    "quadratic-plateau": (_plateau("quadratic-plateau", 2, _report_quadratic_plateau),),
    "logistic-3": tuple(
        Shape(
            name="logistic-3",
            powers=(),
            distinct=4,
            q=2,
            bounds=_logistic_bounds,
            steps=(24, 20),
            wave=_s_curve(sign),
            slopes=_s_slopes(sign, False),
            fused=_s_fused(sign, False),
            report=_report_logistic_3(sign),
        )
        for sign in (1, -1)
    ),
    "logistic-4": (
        Shape(
            name="logistic-4",
            powers=(0,),
            distinct=5,
            q=2,
            bounds=_logistic_bounds,
            steps=(24, 20),
            wave=_s_curve(1),
            slopes=_s_slopes(1, False),
            fused=_s_fused(1, False),
            report=_report_logistic_4,
        ),
    ),
    "log-logistic-3": tuple(
        Shape(
            name="log-logistic-3",
            powers=(),
            distinct=4,
            q=2,
            bounds=_log_logistic_bounds,
            steps=(24, 20),
            logarithmic=True,
            wave=_log_s_curve(sign),
            slopes=_s_slopes(sign, True),
            fused=_s_fused(sign, True),
            report=_report_log_logistic_3(sign),
        )
        for sign in (1, -1)
    ),
    "log-logistic-4": (
        Shape(
            name="log-logistic-4",
            powers=(0,),
            distinct=5,
            q=2,
            bounds=_log_logistic_bounds,
            steps=(24, 20),
            logarithmic=True,
            wave=_log_s_curve(1),
            slopes=_s_slopes(1, True),
            fused=_s_fused(1, True),
            report=_report_log_logistic_4,
        ),
    ),
    "hump": (
        Shape(
            name="hump",
            powers=(0,),
            distinct=5,
            q=2,
            bounds=_hump_bounds,
            steps=(30, 16),
            wave=_bell,
            slopes=_bell_slopes,
            turns=True,
            report=_report_hump,
        ),
    ),
    **BENDING,
}

#: A name for all shapes of a kind: the one that describes the bakes best is taken.
FAMILIES: dict[str, tuple[str, ...]] = {
    "logistic": ("logistic-3", "logistic-4"),
    "log-logistic": ("log-logistic-3", "log-logistic-4"),
    "gompertz": ("gompertz-3", "gompertz-4"),
    "hormesis": ("hormesis-4", "hormesis-5"),
    "plateau": ("linear-plateau", "quadratic-plateau"),
}
