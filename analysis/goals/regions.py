"""Where are all goals met, and how surely?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.goals.chances import DRAWS_ON_GRID, Chooser
from analysis.goals.results import Axis, GoalRegion, Sureness
from analysis.goals.search import Asker
from analysis.goals.space import CLOSE, Space
from analysis.predicting import Settings

Floats = NDArray[np.float64]

STEPS, STEPS_ALONE = 21, 61
SURE = (0.5, 0.8, 0.95)


def region(asker: Asker, chooser: Chooser, space: Space, best: Mapping[str, float | str]) -> GoalRegion | None:
    """The chance of all goals over the two most telling factors, all else as in ``best``.

    None where nothing tells the scatter, or where nothing was varied.
    """
    names = _most_telling(asker, space, best)
    if not names:
        return None
    both = len(names) == 2 and not any(space.spans[name].levels for name in names)
    steps = STEPS if both else STEPS_ALONE
    sides = [_side(space, name, steps, best[name]) for name in names]
    grid, fits = _grid(space, best, names, sides)
    found = chooser.chances(grid, count=DRAWS_ON_GRID)
    if found is None:
        return None
    shape = (len(sides[1]) if len(sides) > 1 else 1, len(sides[0]))
    chance = np.where(fits, found.all, np.nan).reshape(shape)
    bake = np.where(fits, found.all_bake if found.all_bake is not None else np.nan, np.nan).reshape(shape)
    filled = space.shares if set(names) & set(space.shares) else ()  # these follow from the axes
    surest = None
    if fits.any() and np.nanmax(chance) > 0:
        at = int(np.nanargmax(chance.ravel()))
        surest = grid.row(at)
    return GoalRegion(
        axes=tuple(Axis(name=name, values=tuple(side)) for name, side in zip(names, sides, strict=True)),
        others={name: value for name, value in best.items() if name not in names and name not in filled},
        chance=_rows(chance),
        chance_bake=_rows(bake),
        sureness=tuple(_sureness(chance, sides, least) for least in SURE),
        surest=surest,
        surest_chance=None if surest is None else float(np.nanmax(chance)),
    )


def _most_telling(asker: Asker, space: Space, best: Mapping[str, float | str]) -> list[str]:
    """At most two factors, those along which the responses change most against what is acceptable."""
    reach = {}
    for name in space.spans:
        side = _side(space, name, 9, best[name])
        grid, fits = _grid(space, best, [name], [side])
        if len(side) < 2 or fits.sum() < 2:
            continue
        means = asker.means(grid)[:, fits]
        reach[name] = sum(np.ptp(y) / wish.yardstick for wish, y in zip(asker.wishes, means, strict=True))
    ranked = sorted(reach, key=lambda name: -reach[name])[:2]
    # An amount lies along the first axis, levels beside it.
    return sorted(ranked, key=lambda name: (bool(space.spans[name].levels), list(space.spans).index(name)))


def _side(space: Space, name: str, steps: int, own: float | str) -> list[float | str]:
    span = space.spans[name]
    if span.levels:
        return list(span.levels)
    low, high = float(span.low or 0.0), float(span.high or 0.0)
    return [float(value) for value in np.linspace(low, high, steps)] if high > low else [own]


def _grid(
    space: Space, best: Mapping[str, float | str], names: Sequence[str], sides: Sequence[Sequence[float | str]]
) -> tuple[Settings, NDArray[np.bool_]]:
    """Settings of the grid (second axis outermost) and which of them are treatments at all."""
    first, second = sides[0], sides[1] if len(sides) > 1 else [""]
    moving: dict[str, list[float | str]] = {names[0]: list(first) * len(second)}
    if len(names) > 1:
        moving[names[1]] = [b for b in sides[1] for _ in first]
    grid = Settings({name: moving.get(name) or [best[name]] * len(moving[names[0]]) for name in space.spans})
    moved = [name for name in names if name in space.shares]
    return _filled_up(space, grid, moved) if moved else (grid, np.ones(len(grid), dtype=bool))


def _filled_up(space: Space, grid: Settings, moved: Sequence[str]) -> tuple[Settings, NDArray[np.bool_]]:
    """The other shares fill up the whole in their own proportions; what then leaves the ranges is no blend of ours."""
    rest = [name for name in space.shares if name not in moved]
    left = space.total - np.sum([grid[name] for name in moved], axis=0)
    parts = np.array([grid[name] for name in rest]).reshape(-1, len(grid)).T
    whole = parts.sum(axis=1, keepdims=True)
    even = np.full_like(parts, 1.0 / max(len(rest), 1))
    filled = left[:, None] * np.where(whole > 0, parts / np.where(whole > 0, whole, 1.0), even)
    fits = np.full(len(grid), True) if rest else np.abs(left) <= CLOSE * space.total
    columns = {name: grid[name] for name in grid.columns}
    for at, name in enumerate(rest):
        span = space.spans[name]
        room = CLOSE * space.total
        fits &= (filled[:, at] >= float(span.low or 0.0) - room) & (filled[:, at] <= float(span.high or 0.0) + room)
        columns[name] = np.clip(filled[:, at], float(span.low or 0.0), float(span.high or 0.0))
    return Settings(columns), fits


def _sureness(chance: Floats, sides: Sequence[Sequence[float | str]], least: float) -> Sureness:
    """The part of the grid (of its treatments) that is at least this sure, and how far it reaches."""
    there = np.nan_to_num(chance, nan=-1.0) >= least
    treatments = max(int(np.isfinite(chance).sum()), 1)
    if not there.any():
        return Sureness(chance=least, share=0.0)
    reach = []
    for axis, side in enumerate(sides):
        along = there.any(axis=0) if axis == 0 else there.any(axis=1)
        met = [side[int(at)] for at in np.flatnonzero(along)]
        reach.append(tuple(met) if isinstance(side[0], str) else (met[0], met[-1]))
    return Sureness(chance=least, share=float(there.sum() / treatments), reach=tuple(reach))


def _rows(values: Floats) -> tuple[tuple[float | None, ...], ...]:
    return tuple(tuple(None if value != value else round(float(value), 4) for value in row) for row in values)
