"""Which patterns of points are a signal, and at which batches are they complete?

``RULES`` is the one table of rules; arrays (here) and database expressions (``analysis.control.fleet``)
read the same rows. A rule looks at ``z``, the points as three times their share of the way
from the centre to the limit on their side, so that a limit stands at 3 (or -3) everywhere.

Sources: Nelson 1984, J. Quality Technology 16:237, for the patterns; eight on one side after the
rules of Western Electric's handbook of 1956.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from analysis.control.results import Alarm
from analysis.errors import TrialDataError

Pattern = Literal["beyond", "trend", "alternating", "close", "away"]
Floats = NDArray[np.float64]

ROUNDING = 1e-9  # a point on a line is not beyond it, whatever the last bit says


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One pattern: ``k`` of the last ``n`` points, the newest among them.

    ``beyond``: further out than ``distance`` on one side; ``away``: further out on either side;
    ``close``: no further out than ``distance``; ``trend``: each higher (or each lower) than the one before;
    ``alternating``: up and down in turn. ``distance`` is in thirds of the way to the limit.
    """

    key: str
    pattern: Pattern
    n: int
    k: int
    distance: float = 0.0
    default: bool = False


OUTSIDE = "outside the limits"
ONE_SIDE = "eight on one side"

_TABLE = (
    Rule(key=OUTSIDE, pattern="beyond", n=1, k=1, distance=3.0, default=True),
    Rule(key=ONE_SIDE, pattern="beyond", n=8, k=8, distance=0.0, default=True),
    Rule(key="six rising or falling", pattern="trend", n=6, k=6),
    Rule(key="two of three far out", pattern="beyond", n=3, k=2, distance=2.0),
    Rule(key="four of five well out", pattern="beyond", n=5, k=4, distance=1.0),
    Rule(key="fourteen up and down", pattern="alternating", n=14, k=14),
    Rule(key="fifteen close in", pattern="close", n=15, k=15, distance=1.0),
    Rule(key="eight away from the centre", pattern="away", n=8, k=8, distance=1.0),
)
RULES: dict[str, Rule] = {rule.key: rule for rule in _TABLE}
DEFAULT: tuple[str, ...] = tuple(rule.key for rule in _TABLE if rule.default)
_SIDES = {1: "above", -1: "below"}
LONGEST = max(rule.n for rule in _TABLE)  # no rule looks back further


def require_rules(keys: Iterable[str]) -> tuple[Rule, ...]:
    """The rules of these names, once each, in the order of the table. Raises TrialDataError."""
    asked = list(dict.fromkeys(keys))
    for key in asked:
        if key not in RULES:
            known = ", ".join(f'"{name}"' for name in RULES)
            raise TrialDataError(f'There is no rule "{key}".', where="rules", try_this=f"one of {known}")
    return tuple(rule for rule in _TABLE if rule.key in asked)


def way_out(values: Floats, *, lower: Floats, centre: Floats, upper: Floats) -> Floats:
    """``z``: three times the share of the way from the centre to the limit on the value's side.

    All of one shape (or broadcast). Without a limit on one side (NaN) the other side's width is the
    measure, and a value there never counts as outside. NaN where there is no width at all.
    """
    above, below = upper - centre, centre - lower
    away = values - centre
    width = np.where(away >= 0, np.where(np.isnan(above), below, above), np.where(np.isnan(below), above, below))
    open_ended = np.where(away >= 0, np.isnan(above), np.isnan(below))
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(width > 0, 3 * away / width, np.nan)
    return np.where(open_ended, np.clip(z, -3, 3), z)


def completed(rule: Rule, z: Floats) -> NDArray[np.bool_]:
    """Where is the pattern complete? Along the last axis of ``z``; a point without ``z`` (NaN) breaks every run."""
    return completed_on(rule, z) != 0


def completed_on(rule: Rule, z: Floats) -> NDArray[np.int8]:
    """The same with the side: 1 above (or rising), -1 below (or falling), 2 for a pattern without a side, 0 none."""
    z = np.asarray(z, dtype=float)
    if rule.pattern == "beyond":
        above = _enough(z > rule.distance + ROUNDING, rule)
        below = _enough(z < -rule.distance - ROUNDING, rule)
        return above.astype(np.int8) - below.astype(np.int8)
    if rule.pattern == "trend":
        step = _steps(z)
        rising, falling = _last_all(step > 0, rule.n - 1), _last_all(step < 0, rule.n - 1)
        return rising.astype(np.int8) - falling.astype(np.int8)
    if rule.pattern == "alternating":
        step = _steps(z)
        turns = np.zeros(z.shape, dtype=bool)
        turns[..., 1:] = step[..., 1:] * step[..., :-1] < 0
        return 2 * _last_all(turns, rule.n - 2).astype(np.int8)
    if rule.pattern == "close":
        return 2 * _enough(np.abs(z) <= rule.distance + ROUNDING, rule).astype(np.int8)
    return 2 * _enough(np.abs(z) > rule.distance + ROUNDING, rule).astype(np.int8)


def find_alarms(rules: Sequence[Rule], z: Floats, *, batches: Sequence[str], values: Floats) -> tuple[Alarm, ...]:
    """Every completion of every rule on one run of points, batch by batch in order of baking."""
    found: list[tuple[int, Alarm]] = []
    for rule in rules:
        sides = completed_on(rule, z)
        for at in np.flatnonzero(sides).tolist():
            since = _since(rule, z, at, int(sides[at]))
            side = _SIDES.get(int(sides[at]), "")
            alarm = Alarm(batch=batches[at], rule=rule.key, since=batches[since], value=float(values[at]), side=side)
            found.append((at, alarm))
    return tuple(alarm for _, alarm in sorted(found, key=lambda pair: pair[0]))


def _since(rule: Rule, z: Floats, at: int, side: int) -> int:
    """Where the pattern began: the first of the last ``n`` points that belongs to it."""
    first = at - rule.n + 1
    if rule.pattern != "beyond":
        return first
    window = side * z[max(first, 0) : at + 1]
    return max(first, 0) + int(np.argmax(window > rule.distance + ROUNDING))


def _enough(hits: NDArray[np.bool_], rule: Rule) -> NDArray[np.bool_]:
    """Is the newest point a hit, and are at least ``k`` of the last ``n``? Fewer than ``n`` points may do."""
    if rule.n == 1:
        return hits
    counted = np.cumsum(hits, axis=-1, dtype=np.int32)
    counted[..., rule.n :] -= counted[..., : -rule.n].copy()
    enough: NDArray[np.bool_] = hits & (counted >= rule.k)
    return enough


def _steps(z: Floats) -> Floats:
    """1 up, -1 down, 0 level or unknown, from the point before; 0 at the first."""
    step = np.zeros(z.shape)
    gap = np.diff(z, axis=-1)
    step[..., 1:] = np.where(gap > ROUNDING, 1.0, np.where(gap < -ROUNDING, -1.0, 0.0))
    return step


def _last_all(hits: NDArray[np.bool_], n: int) -> NDArray[np.bool_]:
    """Are the last ``n`` all hits?"""
    full = np.zeros(hits.shape, dtype=bool)
    if hits.shape[-1] >= n:
        full[..., n - 1 :] = sliding_window_view(hits, n, axis=-1).all(axis=-1)
    return full
