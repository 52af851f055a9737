"""How do the batches run against what the process does by itself?

Batches from left to right, the usual range as a band behind them, batches that raised an alarm hollow and
named. Below, lot by lot, what they were made from, so that a change and a new sack are seen together.
Limits of the specification are not drawn here: they belong to pieces, not to what the process does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING, Any

from analysis.control.results import Chart, Point
from analysis.words.batch_pictures import (
    COLUMNS_OF_CHART,
    say_chart_alt,
    say_chart_caption,
    say_rules_of_point,
    title_of_axis,
)
from analysis.words.control import chart_title, say_value
from reports.figures.lettering import brief, with_unit, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BAND, BLUE, GREEN, PAPER, RULE, SOFT, VERMILLION, canvas, span, spread
from reports.figures.svg import as_svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_NAMED = 5  # runs of alarms that carry the number of their first batch
MOST_LOTS = 3  # rows of lots below the batches
TICKS = 5
HEIGHT, LOT_HEIGHT = 2.7, 0.3  # inches
NEVER_BELOW_0 = ("share", "count", "rate", "range", "standard deviation", "moving range", "several responses")
LETTER = 0.0145  # of the width, for a letter of a lot's code


@dataclass(frozen=True, kw_only=True)
class Beneath:
    """What the batches of a chart were made with: ingredient or setting -> its lot or level in each batch.

    ``level`` is what is left of each batch once chance is taken out (None: not looked for); ``first`` and
    ``last`` are the batches the page is about, where those are not all.
    """

    made_with: Mapping[str, Sequence[str | None]]
    level: Sequence[float] | None = None
    first: str = ""
    last: str = ""


def draw_control(chart: Chart, *, key: str, beneath: Beneath | None = None) -> Figure:
    """The chart of one response; ``beneath`` has an entry for each of its points."""
    beneath = beneath or Beneath(made_with={})
    rows = dict(list(beneath.made_with.items())[:MOST_LOTS])
    chart, whole = _in_percent(chart), chart
    alt = short_alt(say_chart_alt(whole))
    with canvas(HEIGHT + LOT_HEIGHT * len(rows)) as (figure, (axes,)):
        _band(axes, chart.points, floor=0.0 if chart.kind in NEVER_BELOW_0 else None)
        _batches(axes, chart.points)
        if beneath.level is not None:
            axes.plot(range(len(chart.points)), beneath.level, color=GREEN, linewidth=2, dashes=(5, 1.6), zorder=4)
        _bounds(axes, chart, beneath)
        _name_alarms(axes, chart)
        _period(axes, chart.points, beneath)
        _ticks(axes, chart.points)
        axes.set_ylabel(with_unit(title_of_axis(chart), "%" if chart.kind == "share" else chart.unit), parse_math=False)
        for row, (name, levels) in enumerate(rows.items()):
            _lots(axes, row, name, levels, HEIGHT + LOT_HEIGHT * len(rows))
        svg = as_svg(figure, key=key, title=brief(chart_title(chart), 60), description=alt)
    caption = say_chart_caption(chart, lots=tuple(rows), level=beneath.level is not None)
    return Figure(key=key, svg=svg, alt=alt, caption=caption, table=_table(whole))


def _in_percent(chart: Chart) -> Chart:
    """Shares are drawn in percent."""
    if chart.kind != "share":
        return chart

    def percent(value: float | None) -> float | None:
        return None if value is None else 100 * value

    points = tuple(
        replace(
            point,
            value=100 * point.value,
            centre=100 * point.centre,
            lower=percent(point.lower),
            upper=percent(point.upper),
        )
        for point in chart.points
    )
    return replace(chart, points=points)


def _band(axes: Axes, points: Sequence[Point], *, floor: float | None = None) -> None:
    """The usual range and its middle, step by step where it differs from batch to batch; open where it has no end."""
    low = [point.lower for point in points]
    high = [point.upper for point in points]
    if all(each is None for each in (*low, *high)):
        return
    values = [point.value for point in points]
    ends = [each for each in (*low, *high) if each is not None]
    bottom, top = span([*values, *ends])
    bottom = bottom if floor is None else floor
    x = [at - 0.5 for at in range(len(points) + 1)]
    lower = [bottom if each is None else each for each in low]
    upper = [top if each is None else each for each in high]
    axes.fill_between(
        x,
        [*lower, lower[-1]],
        [*upper, upper[-1]],
        step="post",
        facecolor=BAND,
        linewidth=0,
        zorder=0,
    )
    centre = [point.centre for point in points]
    axes.step(x, [*centre, centre[-1]], where="post", color=SOFT, linewidth=0.8, zorder=1)


def _batches(axes: Axes, points: Sequence[Point]) -> None:
    values = [point.value for point in points]
    small = len(points) > 60
    axes.plot(range(len(points)), values, color=RULE, linewidth=0.9, zorder=2)
    calm = [at for at, point in enumerate(points) if not point.alarms]
    loud = [at for at, point in enumerate(points) if point.alarms]
    axes.plot(
        calm,
        [values[at] for at in calm],
        marker="o",
        markersize=3 if small else 4.5,
        color=BLUE,
        markeredgecolor=PAPER,
        markeredgewidth=0.4,
        linestyle="none",
        zorder=3,
    )
    axes.plot(
        loud,
        [values[at] for at in loud],
        marker="D",
        markersize=4.5 if small else 6,
        markerfacecolor=PAPER,
        markeredgecolor=VERMILLION,
        markeredgewidth=1.3,
        linestyle="none",
        zorder=5,
    )


def _bounds(axes: Axes, chart: Chart, beneath: Beneath) -> None:
    seen = [point.value for point in chart.points] + list(beneath.level or ())
    seen += [each for point in chart.points for each in (point.lower, point.upper) if each is not None]
    low, high = span(seen, share=0.18)
    low = -0.02 * high if chart.kind in NEVER_BELOW_0 and low < 0 else low
    axes.set(xlim=(-0.7, len(chart.points) - 0.3), ylim=(low, high))


def _runs(points: Sequence[Point]) -> list[list[int]]:
    """Places of alarms, neighbours together."""
    loud = [at for at, point in enumerate(points) if point.alarms]
    return [[at for _, at in run] for _, run in groupby(enumerate(loud), key=lambda pair: pair[1] - pair[0])]


def _name_alarms(axes: Axes, chart: Chart) -> None:
    """The number of the first batch of each run of alarms, at the edge it lies nearer to, with a line to it."""
    runs = sorted(_runs(chart.points), key=lambda run: -len(run))[:MOST_NAMED]
    first = sorted(run[0] for run in runs)
    for below in (False, True):
        side = [at for at in first if (chart.points[at].value < chart.points[at].centre) == below]
        gap = len(chart.points) * 0.19
        places = spread([float(at) for at in side], gap, 0.0, max(len(chart.points) - 1.0, 0.0))
        low, high = axes.get_ylim()
        edge, ends = (low + share * (high - low) for share in ((0.02, 0.08) if below else (0.98, 0.92)))
        for at, place in zip(side, places, strict=True):
            point = chart.points[at]
            axes.plot([at, place], [point.value, ends], color=VERMILLION, linewidth=0.6, alpha=0.6, zorder=2)
            looks: dict[str, Any] = {"ha": "center", "va": "bottom" if below else "top", "fontsize": 8}
            write(axes, place, edge, brief(point.batch, 12), color=VERMILLION, **looks)


def _period(axes: Axes, points: Sequence[Point], beneath: Beneath) -> None:
    """A bar along the axis below the batches that the page is about."""
    places = {point.batch: at for at, point in enumerate(points)}
    first, last = places.get(beneath.first), places.get(beneath.last)
    if first is None or last is None or (first == 0 and last == len(points) - 1):
        return
    axes.plot(
        [first - 0.5, last + 0.5],
        [0, 0],
        transform=axes.get_xaxis_transform(),
        color=BLUE,
        linewidth=4,
        solid_capstyle="butt",
        clip_on=False,
        zorder=6,
    )


def _ticks(axes: Axes, points: Sequence[Point]) -> None:
    """A few batch numbers along the axis, the first and the last among them."""
    count = min(TICKS, len(points))
    places = sorted({round(each * (len(points) - 1) / max(count - 1, 1)) for each in range(count)})
    axes.set_xticks(places, [brief(points[at].batch, 10) for at in places], parse_math=False)
    axes.xaxis.set_tick_params(labelsize=8)


def _lots(axes: Axes, row: int, name: str, levels: Sequence[str | None], height: float) -> None:
    """One row below the axis: a piece for each stretch of one lot, named where its code fits."""
    y = -(0.36 + 0.3 * row) / (height * 0.72)
    place = 0
    for number, (level, run) in enumerate(groupby(levels)):
        length = len(list(run))
        if level is not None:
            axes.plot(
                [place - 0.35, place + length - 0.65],
                [y, y],
                transform=axes.get_xaxis_transform(),
                color=RULE if number % 2 else SOFT,
                linewidth=3,
                solid_capstyle="butt",
                clip_on=False,
            )
            if length / len(levels) > LETTER * len(level):
                write(
                    axes,
                    place + (length - 1) / 2,
                    y - 0.055,
                    level,
                    transform=axes.get_xaxis_transform(),
                    ha="center",
                    fontsize=7.5,
                    color=SOFT,
                )
        place += length
    write(axes, -0.02, y, brief(name, 14), transform=axes.transAxes, ha="right", fontsize=7.5, color=SOFT)


def _table(chart: Chart) -> Table:
    rows = tuple(
        (
            point.batch,
            say_value(point.value, chart, unit=False),
            *("–" if end is None else say_value(end, chart, unit=False) for end in (point.lower, point.upper)),
            say_rules_of_point(point),
        )
        for point in chart.points
    )
    return Table(columns=COLUMNS_OF_CHART, rows=rows)
