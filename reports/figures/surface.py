"""Where on the surface is the response best, and what is as good?

Labelled contours over two amounts with the bakes as dots, the settings as good as the best shaded, the best as a
filled mark and the point where the surface levels out as a hollow one with its region. Nothing is drawn where
nothing was baked.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from analysis.results import ResponseResult
from analysis.surfaces.results import Limits, SurfacePart
from analysis.surfaces.slices import Slice
from analysis.words.numbers import as_written, half_width, join_words, say_interval, say_level, say_number, say_share
from analysis.words.pages import between
from analysis.words.pictures import surfaces as say
from reports.figures.lettering import brief, sized, with_unit
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BLUE, GREEN, INK, PAPER, PURPLE, RULE, SOFT, canvas
from reports.figures.svg import as_svg

MOST_LINES = 8
NONE = "–"


def draw_surface(
    result: ResponseResult, part: SurfacePart, slice_: Slice, *, key: str, units: dict[str, str], confidence: float
) -> Figure:
    """One picture of two amounts; ``slice_`` says which."""
    with canvas(4.1) as (figure, (axes,)):
        _marks(axes, part, slice_, _contours(axes, part, slice_))
        axes.set(xlim=(slice_.x[0], slice_.x[-1]), ylim=(slice_.y[0], slice_.y[-1]))
        for name, side in ((slice_.x_name, axes.set_xlabel), (slice_.y_name, axes.set_ylabel)):
            side(with_unit(brief(name, 40), units.get(name, "")), color=SOFT, parse_math=False)
        alt = _alt(result, part, units, confidence)
        title = say.surface_title(brief(result.response.name, 40), brief(slice_.x_name, 30), brief(slice_.y_name, 30))
        svg = as_svg(figure, key=key, title=title, description=alt)
    return Figure(
        key=key,
        svg=svg,
        alt=alt,
        caption=_caption(result, part, slice_, units, confidence),
        table=_table(part, units, result.response.unit),
    )


def contour_levels(mean: Any, inside: Any) -> Any:
    """Round values that cut the response inside what was baked."""
    from matplotlib.ticker import MaxNLocator

    seen = mean[inside >= 0]
    if not seen.size or float(np.ptp(seen)) <= 1e-9 * max(float(np.abs(seen).max()), 1e-300):
        return np.array([])
    levels = MaxNLocator(nbins=MOST_LINES, steps=[1, 2, 2.5, 5, 10]).tick_values(float(seen.min()), float(seen.max()))
    return levels[(levels > seen.min()) & (levels < seen.max())]


def level_format(levels: Any) -> Callable[[float], str]:
    """As many decimals as the step between the contours has."""
    step = float(levels[1] - levels[0]) if len(levels) > 1 else abs(float(levels[0])) or 1.0
    decimals = next((d for d in range(6) if abs(round(step, d) - step) < 1e-6 * step), 6)
    return lambda level: as_written(f"{level:.{decimals}f}")


def _contours(axes: Any, part: SurfacePart, slice_: Slice) -> list[tuple[float, float]]:
    """Draws lines, what is as good as the best, and edges; returns where the lines are labelled."""
    labels: list[tuple[float, float]] = []
    seen = np.ma.masked_array(slice_.mean, slice_.inside < -0.02)
    if slice_.good is not None:
        good = np.minimum(slice_.good / max(float(np.abs(slice_.good).max()), 1e-300), slice_.inside)
        axes.contourf(slice_.x, slice_.y, good, levels=[0, np.inf], colors=[GREEN], alpha=0.16, zorder=1)
        axes.contour(slice_.x, slice_.y, good, levels=[0], colors=[GREEN], linewidths=1.2, zorder=3)
    levels = contour_levels(slice_.mean, slice_.inside)
    if len(levels):
        drawn = axes.contour(slice_.x, slice_.y, seen, levels=levels, colors=[SOFT], linewidths=1.0, zorder=2)
        texts = axes.clabel(drawn, fmt=level_format(levels), fontsize=8, colors=[INK], inline_spacing=3)
        labels = [text.get_position() for text in texts]
    axes.contour(
        slice_.x, slice_.y, slice_.inside, levels=[0], colors=[RULE], linewidths=1.2, linestyles="dashed", zorder=1
    )
    if _bounded(part, slice_):
        looks = {"colors": [PURPLE], "linewidths": 1.2, "linestyles": "dotted"}
        axes.contour(slice_.x, slice_.y, slice_.turning, levels=[0], zorder=3, **looks)
    return labels


def _marks(axes: Any, part: SurfacePart, slice_: Slice, labels: list[tuple[float, float]]) -> None:
    x, y = slice_.bakes.T
    axes.plot(x, y, linestyle="none", marker="o", markersize=4.5, color=INK, markeredgecolor=PAPER, zorder=4)
    at = _seen(part, slice_)
    if at is not None:
        hollow = {"markerfacecolor": "none", "markeredgecolor": PURPLE, "markeredgewidth": 1.6}
        axes.plot(*at, linestyle="none", marker="s", markersize=11, zorder=5, **hollow)
    best = (float(part.best[slice_.x_name]), float(part.best[slice_.y_name]))
    ringed = {"markeredgecolor": PAPER, "markeredgewidth": 1.0}
    axes.plot(*best, linestyle="none", marker="D", markersize=7.5, color=BLUE, zorder=6, **ringed)
    across, up = _roomiest(best, [*map(tuple, slice_.bakes), *labels], slice_)
    axes.annotate(
        say.BEST,
        best,
        xytext=(9 * across, 9 * up),
        textcoords="offset points",
        ha="left" if across > 0 else "right",
        va="center",
        color=BLUE,
        fontsize=9,
        zorder=7,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.0, "alpha": 0.8},
    )


def _roomiest(best: tuple[float, float], taken: list[tuple[float, float]], slice_: Slice) -> tuple[int, int]:
    """Right or left (1, -1) of the best and above, beside or below it: where its name is furthest from dots and labels.

    Distances are in points of a picture of 4.8 by 4.1 inches, of which the axes take about 300 by 240.
    """
    size = np.array([300 / (slice_.x[-1] - slice_.x[0]), 240 / (slice_.y[-1] - slice_.y[0])])
    mark = (np.array(best) - [slice_.x[0], slice_.y[0]]) * size
    others = (np.array(taken, dtype=float).reshape(-1, 2) - [slice_.x[0], slice_.y[0]]) * size

    def room(side: tuple[int, int]) -> float:
        middle = mark + np.array([20 * side[0], 9 * side[1]])
        gaps = np.hypot(*((others - middle) / [1.8, 1]).T)  # the word is about twice as wide as it is high
        edges = min(middle[0] - 12, 288 - middle[0], middle[1] - 6, 234 - middle[1])
        return float(min([*gaps, edges, 20.0]))

    return max(((x, y) for x in (-1, 1) for y in (1, -1, 0)), key=room)


def _seen(part: SurfacePart, slice_: Slice) -> tuple[float, float] | None:
    """Where the surface levels out, when it bends and that lies in the picture."""
    if part.stationary is None or part.shape == "flat":
        return None
    at = (part.stationary[slice_.x_name], part.stationary[slice_.y_name])
    inside = slice_.x[0] <= at[0] <= slice_.x[-1] and slice_.y[0] <= at[1] <= slice_.y[-1]
    return at if inside else None


def _bounded(part: SurfacePart, slice_: Slice) -> bool:
    """Does an edge of the region of that point cross the picture of a surface that bends?"""
    turning = slice_.turning
    return part.shape != "flat" and turning is not None and bool(turning.min() < 0 < turning.max())


def _alt(result: ResponseResult, part: SurfacePart, units: dict[str, str], confidence: float) -> str:
    settings = join_words([sized(f"{brief(n, 16)} {_setting(part, n)}", units.get(n, "")) for n in part.amounts])
    wish = {"higher": "highest", "lower": "lowest", "target": say.NEAREST_TARGET}[part.better]
    step = half_width(part.low, part.high)
    size = sized(say_number(part.best_response, step), result.response.unit)
    said = f" ({say_interval(part.low, part.high, confidence)})" if part.low is not None else ""
    edge = say.AT_EDGE if part.edge else ""
    return short_alt(say.surface_alt(brief(result.response.name, 24), wish, settings, edge, size, said))


def _setting(part: SurfacePart, name: str, value: float | None = None) -> str:
    return say_number(float(part.best[name]) if value is None else value, part.coding[name].half / 4)


def _caption(result: ResponseResult, part: SurfacePart, slice_: Slice, units: dict[str, str], confidence: float) -> str:
    name = result.response.name
    others = [n for n in part.amounts if n not in (slice_.x_name, slice_.y_name)]
    dots = say.dots_whatever(join_words(others)) if others else "bakes"
    said = [say.lines_dots_dashes(name, dots)]
    if part.as_good:
        within = say.WITHIN_WHAT_MATTERS if part.as_good_within else say.AS_FAR_AS_TOLD
        said.append(say.shaded_within(within))
    if _seen(part, slice_) is not None:
        where = "" if part.stationary_inside else say.LIES_OUTSIDE
        region = say.dotted_region(say_share(confidence)) if _bounded(part, slice_) else ""
        said.append(say.hollow_square(where, region))
    elif _bounded(part, slice_):
        said.append(say.dotted_alone(say_share(confidence)))
    held = [n for n in part.best if n not in (slice_.x_name, slice_.y_name)]
    if held:
        at = [
            sized(f"{n} {_setting(part, n) if n in part.amounts else say_level(part.best[n])}", units.get(n, ""))
            for n in held
        ]
        said.append(say.drawn_at(join_words(at)))
    return " ".join(said)


def _table(part: SurfacePart, units: dict[str, str], unit: str) -> Table:
    """The marked points and ranges of the picture, one row each."""
    of = [f"{name} ({units[name]})" if units.get(name) else name for name in part.amounts]
    size = f" ({unit})" if unit else ""
    rows = [_row(say.BEST, [_setting(part, n) for n in part.amounts], part.best_response, part.low, part.high)]
    if part.stationary is not None and (part.stationary_inside or part.region_closed) and part.shape != "flat":
        point = [_setting(part, n, part.stationary[n]) for n in part.amounts]
        rows.append(_row(say.LEVELS_OUT, point, part.stationary_response, part.stationary_low, part.stationary_high))
    region = part.region if part.region_closed and part.shape != "flat" else {}
    for name, ranges in ((say.ITS_REGION, region), (say.AS_GOOD_AS_BEST, part.as_good)):
        if ranges:
            rows.append((name, *(_range(part, n, ranges[n]) for n in part.amounts), NONE, NONE, NONE))
    return Table(columns=say.columns_of_points(of, size), rows=tuple(rows))


def _row(
    name: str, settings: list[str], response: float | None, low: float | None, high: float | None
) -> tuple[str, ...]:
    step = half_width(low, high)
    numbers = (NONE if value is None else say_number(value, step) for value in (response, low, high))
    return (name, *settings, *numbers)


def _range(part: SurfacePart, name: str, limits: Limits) -> str:
    ends = ["open" if end is None else _setting(part, name, end) for end in (limits.low, limits.high)]
    return between(ends[0], ends[1])
