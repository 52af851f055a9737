"""Does what is left over look like plain scatter?

One picture for one question, each beside the sentence it supports: residuals against the
fitted value (does the scatter grow, is the shape right?) and against the order of baking
(did something drift?), there with bake days or other blocks marked off.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from analysis.results import BakePoint, ResponseResult
from analysis.words.numbers import say_level, say_number
from analysis.words.pictures import trust as say
from reports.figures.lettering import brief, sized, with_unit, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.points import thinned
from reports.figures.style import BLUE, INK, RULE, SOFT, canvas, scatter, span
from reports.figures.svg import as_svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_ROWS = 200
MOST_NAMED = 6
MOST_DAYS = 8


def draw_residuals_by_fit(
    result: ResponseResult, *, key: str, sentence: str, named: Sequence[str] = ()
) -> Figure | None:
    """Residuals against fitted values; None with fewer than three bakes that have both. ``named``: odd bakes."""
    points = usable(result)
    fitted = [point.fitted or 0.0 for point in points]
    return _draw(
        result,
        points,
        fitted,
        key=key,
        sentence=sentence,
        axis=with_unit(say.fitted_axis(brief(result.response.name, 40)), result.response.unit),
        column="fitted",
        against=say.FITTED_VALUE,
        whole=False,
        named=named,
    )


def draw_residuals_by_order(result: ResponseResult, *, key: str, sentence: str, block: str = "") -> Figure | None:
    """Residuals in the order of baking, each ``block`` ("bake day") marked off; None with fewer than three bakes."""
    points = sorted(usable(result), key=lambda point: point.order)
    orders = [float(point.order) for point in points]
    return _draw(
        result,
        points,
        orders,
        key=key,
        sentence=sentence,
        axis=say.ORDER_OF_BAKING,
        column="order",
        against=say.ORDER_OF_BAKING,
        whole=True,
        parts=[(f"{block} {name}" if name.isdigit() else name, first, last) for name, first, last in days(points)],
    )


def days(points: Sequence[BakePoint]) -> tuple[tuple[str, float, float], ...]:
    """Each block with its first and last place, for ``points`` in order of baking; () if not baked in turn."""
    found: list[tuple[str, float, float]] = []
    for point in points:
        if point.block is None:
            return ()
        if found and found[-1][0] == point.block:
            found[-1] = (point.block, found[-1][1], float(point.order))
        else:
            found.append((point.block, float(point.order), float(point.order)))
    in_turn = len({name for name, *_ in found}) == len(found)
    return tuple(found) if in_turn and 1 < len(found) <= MOST_DAYS else ()


def usable(result: ResponseResult) -> list[BakePoint]:
    return [point for point in result.family.points if point.fitted is not None and point.residual is not None]


def _draw(
    result: ResponseResult,
    points: Sequence[BakePoint],
    along: Sequence[float],
    *,
    key: str,
    sentence: str,
    axis: str,
    column: str,
    against: str,
    whole: bool,
    named: Sequence[str] = (),
    parts: Sequence[tuple[str, float, float]] = (),
) -> Figure | None:
    from matplotlib.ticker import MaxNLocator

    left = [point.residual or 0.0 for point in points]
    if len(points) < 3 or max(map(abs, left)) <= 1e-9 * max(max(abs(p.observed) for p in points), 1e-300):
        return None
    largest = max(points, key=lambda point: abs(point.residual or 0.0))
    with canvas(2.4) as (figure, (axes,)):
        axes.axhline(0, color=SOFT, linewidth=0.8, zorder=0)
        kept = thinned(points)
        step = -(-len(points) // max(len(kept), 1))
        scatter(axes, along[::step], left[::step], colour=BLUE, marker="o", size=24, alpha=0.9)
        reach = max(map(abs, left))
        for point, place in [(p, at) for p, at in zip(points, along, strict=True) if p.bake in named][:MOST_NAMED]:
            _name(axes, point, place, span(along))
        axes.set(xlim=span(along), ylim=span([-reach, reach]))
        _mark_off(axes, parts)
        axes.xaxis.set_major_locator(MaxNLocator(nbins=8, integer=whole))
        axes.set_xlabel(axis, parse_math=False)
        axes.set_ylabel(with_unit(say.RESIDUAL, result.response.unit), parse_math=False)
        alt = _alt(result, largest, against)
        svg = as_svg(
            figure, key=key, title=say.residuals_title(brief(result.response.name, 40), against), description=alt
        )
    return Figure(
        key=key, svg=svg, alt=alt, caption=sentence, table=_table(points, along, column, result.response.unit)
    )


def _mark_off(axes: Axes, parts: Sequence[tuple[str, float, float]]) -> None:
    """A line between one block and the next, and each block's name above its own."""
    for (_, _, last), (_, first, _) in pairwise(parts):
        axes.axvline((last + first) / 2, color=RULE, linewidth=1.0, zorder=0)
    room = 60 // max(len(parts), 1)
    for name, first, last in parts:
        above = {"transform": axes.get_xaxis_transform(), "ha": "center", "va": "bottom", "color": SOFT, "fontsize": 8}
        write(axes, (first + last) / 2, 1.02, wrapped(name, width=max(room, 6)), **above)


def _name(axes: Axes, point: BakePoint, place: float, ends: tuple[float, float]) -> None:
    """The bake's name beside its mark, on the side where there is room."""
    room, right = ends[1] - ends[0], place > (ends[0] + ends[1]) / 2
    beside = place + (-0.02 if right else 0.02) * room
    write(axes, beside, point.residual or 0.0, brief(point.bake, 14), ha="right" if right else "left", color=INK)


def _alt(result: ResponseResult, largest: BakePoint, against: str) -> str:
    size = sized(say_number(largest.residual), result.response.unit)
    name, bake = brief(result.response.name), brief(largest.bake, 16)
    return short_alt(say.residuals_alt(name, against, size, bake))


def _table(points: Sequence[BakePoint], along: Sequence[float], column: str, unit: str) -> Table:
    shown = f" ({unit})" if unit else ""
    sizes = sorted(abs(point.residual or 0.0) for point in points)
    step = sizes[len(sizes) // 2] or sizes[-1]
    heading = column if column == "order" else f"{column}{shown}"
    rows = tuple(
        (
            point.bake,
            say_level(place) if column == "order" else say_number(place, step),
            say_number(point.residual, step),
        )
        for point, place in list(zip(points, along, strict=True))[:MOST_ROWS]
    )
    return Table(columns=say.columns_of_residuals(heading, shown), rows=rows)
