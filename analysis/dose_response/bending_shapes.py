"""Which curves saturate, climb unevenly, or rise and fall?

Saturation (Michaelis & Menten 1913), Gompertz (1825), hormesis (a rise below an otherwise
sigmoid fall; Brain & Cousens 1989, Weed Research 29:93) and a biphasic curve that rises and
collapses as the product of two logistics. The formulas and reported names stand in ``shapes``.

``theta`` holds logarithms of what must be positive: (log K); (inflection, log |b|); (log e,
log b); (rise midpoint, log of the gap to the fall midpoint, log rise steepness, log fall steepness).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analysis.dose_response.shape import AnyArray, Array, Shape, s_curve

_NIL = 1e-300  # stands for dose 0, which has no logarithm


def _log_bounds(doses: Array) -> tuple[Array, Array]:
    baked = doses[doses > 0]
    return np.log(baked[:1] / 3), np.log(baked[-1:] * 3)


def _saturating(x: Array, theta: AnyArray) -> AnyArray:
    return x / (np.exp(theta[..., 0:1]) + x)


def _saturating_slopes(x: Array, theta: Array) -> Array:
    half = np.exp(theta[..., 0:1])
    return np.asarray((-x * half / (half + x) ** 2)[..., None, None])


def _gompertz_bounds(doses: Array) -> tuple[Array, Array]:
    span, gap = doses[-1] - doses[0], np.diff(doses).min()
    steep = max(12 / gap, 2 / span)
    return np.array([doses[0] - span / 2, np.log(0.5 / span)]), np.array([doses[-1] + span / 2, np.log(steep)])


def _limited(t: AnyArray) -> AnyArray:
    """exp(-exp(t)) without overflow, for real or complex t."""
    real = np.clip(np.real(t), -700, 30)
    return np.exp(-np.exp(real + 1j * np.imag(t) if np.iscomplexobj(t) else real))


def _gompertz(sign: int) -> Callable[[Array, AnyArray], AnyArray]:
    return lambda x, theta: _limited(sign * np.exp(theta[..., 1:2]) * (x - theta[..., 0:1]))


def _gompertz_slopes(sign: int) -> Callable[[Array, Array], Array]:
    def slopes(x: Array, theta: Array) -> Array:
        steep = sign * np.exp(theta[..., 1:2])
        away = x - theta[..., 0:1]
        t = np.clip(steep * away, -700, 30)
        by_t = -np.exp(t - np.exp(t))
        return np.stack([-steep * by_t, steep * away * by_t], axis=-1)[..., None, :]

    return slopes


def _gompertz_at(sign: int) -> Callable[[AnyArray, float], complex]:
    """The way leads from the limit at low doses to the limit at high doses."""

    def at(p: AnyArray, fraction: float) -> complex:
        share = fraction if sign < 0 else 1 - fraction  # what exp(-exp()) has to be
        return complex(p[0] + sign * np.log(-np.log(share)) / np.exp(p[1]))

    return at


def _report_gompertz(sign: int, floor: bool) -> Callable[[AnyArray, float], dict[str, complex]]:
    def report(p: AnyArray, centre: float) -> dict[str, complex]:
        b = sign * np.exp(p[1])
        if floor:
            return {"b": b, "c": p[2], "d": p[2] + p[3], "e": p[0]}
        return {"b": b, "d": p[2], "e": p[0]}

    return report


def _logs(x: Array) -> Array:
    return np.log(np.maximum(x, _NIL))


def _hormesis_bounds(doses: Array) -> tuple[Array, Array]:
    # With b at 1 or below, the rise f x would never be caught up by the fall.
    baked = doses[doses > 0]
    return np.log([baked[0] / 3, 1.05]), np.log([baked[-1] * 3, 20.0])


def _hormesis(x: Array, theta: AnyArray) -> AnyArray:
    left = s_curve(-np.exp(theta[..., 1:2]) * (_logs(x) - theta[..., 0:1]))
    return np.stack([left, x * left], axis=-1)


def _hormesis_slopes(x: Array, theta: Array) -> Array:
    b, away = np.exp(theta[..., 1:2]), _logs(x) - theta[..., 0:1]
    left = s_curve(-b * away)
    by_t = left * (1 - left)
    one = np.stack([b * by_t, -b * away * by_t], axis=-1)
    return np.stack([one, x[:, None] * one], axis=-2)


def _hormetic(p: Array) -> bool:
    """Does the curve really rise before it falls (or fall before it rises)?"""
    height, f = p[-2], p[-1]
    return bool(height * f > 0)


def _report_hormesis(floor: bool) -> Callable[[AnyArray, float], dict[str, complex]]:
    def report(p: AnyArray, centre: float) -> dict[str, complex]:
        b, e, f = np.exp(p[1]), np.exp(p[0]), p[-1]
        if floor:
            return {"b": b, "c": p[2], "d": p[2] + p[3], "e": e, "f": f}
        return {"b": b, "d": p[2], "e": e, "f": f}

    return report


def _biphasic_bounds(doses: Array) -> tuple[Array, Array]:
    span, gap = doses[-1] - doses[0], np.diff(doses).min()
    slow, steep = np.log(1.5 / span), np.log(12 / gap)
    low = np.array([doses[0] - span / 3, np.log(gap / 4), slow, slow])
    return low, np.array([doses[-1] - gap / 2, np.log(1.2 * span), steep, steep])


def _up_and_down(x: Array, theta: AnyArray) -> tuple[AnyArray, AnyArray]:
    rise = theta[..., 0:1]
    fall = rise + np.exp(theta[..., 1:2])
    up = s_curve(np.exp(theta[..., 2:3]) * (x - rise))
    return up, s_curve(-np.exp(theta[..., 3:4]) * (x - fall))


def _biphasic(x: Array, theta: AnyArray) -> AnyArray:
    up, down = _up_and_down(x, theta)
    return up * down


def _biphasic_slopes(x: Array, theta: Array) -> Array:
    up, down = _up_and_down(x, theta)
    both = up * down
    gap, k1, k2 = np.exp(theta[..., 1:2]), np.exp(theta[..., 2:3]), np.exp(theta[..., 3:4])
    rising, falling = both * (1 - up), both * (1 - down)
    by_fall = k2 * falling
    from_rise = x - theta[..., 0:1]
    return np.stack(
        [by_fall - k1 * rising, gap * by_fall, k1 * from_rise * rising, -k2 * (from_rise - gap) * falling], axis=-1
    )[..., None, :]


def _report_biphasic(p: AnyArray, centre: float) -> dict[str, complex]:
    return {
        "floor": p[4],
        "height": p[5],
        "rise midpoint": p[0],
        "rise steepness": np.exp(p[2]),
        "fall midpoint": p[0] + np.exp(p[1]),
        "fall steepness": np.exp(p[3]),
    }


def _gompertz_shapes(floor: bool) -> tuple[Shape, ...]:
    return tuple(
        Shape(
            name="gompertz-4" if floor else "gompertz-3",
            powers=(0,) if floor else (),
            distinct=6 if floor else 5,
            q=2,
            bounds=_gompertz_bounds,
            steps=(24, 20),
            wave=_gompertz(sign),
            slopes=_gompertz_slopes(sign),
            at_fraction=_gompertz_at(sign),
            report=_report_gompertz(sign, floor),
        )
        for sign in (-1, 1)
    )


def _hormesis_shape(floor: bool) -> Shape:
    return Shape(
        name="hormesis-5" if floor else "hormesis-4",
        powers=(0,) if floor else (),
        distinct=6 if floor else 5,
        q=2,
        bounds=_hormesis_bounds,
        steps=(24, 20),
        logarithmic=True,
        columns=2,
        wave=_hormesis,
        slopes=_hormesis_slopes,
        accepts=_hormetic,
        turns=True,
        report=_report_hormesis(floor),
    )


BENDING: dict[str, tuple[Shape, ...]] = {
    "saturation": (
        Shape(
            name="saturation",
            powers=(),
            distinct=4,
            q=1,
            bounds=_log_bounds,
            steps=(60,),
            logarithmic=True,
            wave=_saturating,
            slopes=_saturating_slopes,
            on_request=True,
            at_fraction=lambda p, fraction: complex(np.exp(p[0]) * fraction / (1 - fraction)),
            report=lambda p, centre: {"Vm": p[1], "K": np.exp(p[0])},
        ),
    ),
    "gompertz-3": _gompertz_shapes(floor=False),
    "gompertz-4": _gompertz_shapes(floor=True),
    "hormesis-4": (_hormesis_shape(floor=False),),
    "hormesis-5": (_hormesis_shape(floor=True),),
    "biphasic": (
        Shape(
            name="biphasic",
            powers=(0,),
            distinct=7,
            q=4,
            bounds=_biphasic_bounds,
            steps=(9, 8, 6, 6),
            wave=_biphasic,
            slopes=_biphasic_slopes,
            turns=True,
            report=_report_biphasic,
        ),
    ),
}
