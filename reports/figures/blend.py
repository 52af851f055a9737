"""How does the response run along each share, and over all blends of three?

Traces: the response along each share's line with its interval band. Triangle: labelled contours with the blends
that were baked, those as good as the best shaded, and the best marked.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.blends.results import BlendPart
from analysis.blends.triangle import Triangle
from analysis.results import ResponseResult
from analysis.words.numbers import half_width, join_words, say_interval, say_level, say_number, say_share
from analysis.words.pages import between
from analysis.words.pictures import surfaces as say
from reports.figures.lettering import brief, sized, with_unit, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BLUE, GREEN, INK, LINES, PAPER, RULE, SOFT, canvas, line, span, spread
from reports.figures.surface import contour_levels, level_format
from reports.figures.svg import as_svg

MOST_TOGETHER = 5
HEIGHT = 3**0.5 / 2
NONE = "–"


def draw_traces(
    result: ResponseResult, part: BlendPart, *, key: str, units: dict[str, str], confidence: float
) -> Figure | None:
    """The response along each share's line; None when no line has two points."""
    traces = [trace for trace in part.traces if len(trace.points) > 1][:MOST_TOGETHER]
    if not traces:
        return None
    with canvas(3.6) as (figure, (axes,)):
        for series, trace in enumerate(traces):
            x = [point.share for point in trace.points]
            if trace.points[0].low is not None:
                lows, highs = ([getattr(p, end) for p in trace.points] for end in ("low", "high"))
                axes.fill_between(x, lows, highs, color=LINES[series], alpha=0.12, linewidth=0, zorder=1)
            line(axes, x, [point.mean for point in trace.points], series=series)
        seen = [v for trace in traces for p in trace.points for v in (p.mean, p.low, p.high) if v is not None]
        low, high = span(seen)
        axes.set(ylim=(low, high), xlim=span([p.share for trace in traces for p in trace.points], share=0.02))
        ends = [trace.points[-1].mean for trace in traces]
        for series, (trace, place) in enumerate(zip(traces, spread(ends, (high - low) * 0.09, low, high), strict=True)):
            write(
                axes, 1.01, place, wrapped(trace.share, width=13), transform=axes.get_yaxis_transform(), ha="left",
                multialignment="left", color=LINES[series],
            )  # fmt: skip
        unit = units.get(traces[0].share, "")
        axes.set_xlabel(with_unit(say.SHARE_OF_WHOLE, unit), color=SOFT, parse_math=False)
        name = with_unit(brief(result.response.name, 40), result.response.unit)
        axes.set_ylabel(name, color=SOFT, parse_math=False)
        alt = _alt_traces(result, part, units)
        svg = as_svg(figure, key=key, title=say.traces_title(brief(result.response.name, 40)), description=alt)
    bands = say.with_bands(say_share(confidence)) if traces[0].points[0].low is not None else ""
    mean = join_words([f"{n} {say_number(v, part.total / 5)}" for n, v in part.reference.items()])
    caption = say.traces_caption(result.response.name, bands, mean)
    return Figure(key=key, svg=svg, alt=alt, caption=caption, table=_trace_table(part, result, units))


def _alt_traces(result: ResponseResult, part: BlendPart, units: dict[str, str]) -> str:
    spans = [(max(p.mean for p in t.points) - min(p.mean for p in t.points), t) for t in part.traces if t.points]
    change, trace = max(spans, key=lambda pair: pair[0])
    size = sized(say_number(change, change), result.response.unit)
    unit = units.get(trace.share, "")
    ends = join_words([sized(say_number(p.share), unit) for p in (trace.points[0], trace.points[-1])])
    return short_alt(say.traces_alt(brief(result.response.name, 24), brief(trace.share, 20), size, ends))


def _trace_table(part: BlendPart, result: ResponseResult, units: dict[str, str]) -> Table:
    unit = f" ({result.response.unit})" if result.response.unit else ""
    rows = []
    for trace in part.traces:
        for point in (trace.points[0], trace.points[len(trace.points) // 2], trace.points[-1]) if trace.points else ():
            step = half_width(point.low, point.high)
            share = sized(say_number(point.share, part.total / 5), units.get(trace.share, ""))
            numbers = (NONE if v is None else say_number(v, step) for v in (point.mean, point.low, point.high))
            rows.append((trace.share, share, *numbers))
    return Table(columns=say.columns_of_traces(unit), rows=tuple(rows))


def draw_triangle(
    result: ResponseResult, part: BlendPart, drawn: Triangle, *, key: str, units: dict[str, str], confidence: float
) -> Figure:
    """All blends of three shares."""
    with canvas(4.3) as (figure, (axes,)):
        x, y = _places(drawn, drawn.blends)
        _shade(axes, drawn, x, y)
        corners = _places(drawn, drawn.corners)
        axes.plot([*corners[0], corners[0][0]], [*corners[1], corners[1][0]], color=RULE, linewidth=1.2, zorder=1)
        _name_corners(axes, part, drawn, corners, units)
        bakes = _places(drawn, drawn.bakes)
        axes.plot(*bakes, linestyle="none", marker="o", markersize=4.5, color=INK, markeredgecolor=PAPER, zorder=4)
        best = np.array([[float(part.best[name]) for name in part.shares]]) / part.total
        ringed: dict[str, Any] = {"markeredgecolor": PAPER, "markeredgewidth": 1.0}
        axes.plot(*_places(drawn, best), linestyle="none", marker="D", markersize=7.5, color=BLUE, zorder=6, **ringed)
        axes.set(xlim=(-0.16, 1.16), ylim=(-0.14, HEIGHT + 0.14), aspect="equal")
        axes.set_axis_off()
        alt = _alt_triangle(result, part, units, confidence)
        svg = as_svg(figure, key=key, title=say.triangle_title(brief(result.response.name, 40)), description=alt)
    held = [f"{n} {say_level(v)}" for n, v in part.at.items()]
    good = "" if not part.as_good else say.SHADED_AS_GOOD
    edge = say.DASHED_EDGE if float(drawn.inside.min()) < -1e-6 else ""
    caption = say.triangle_caption(
        result.response.name, edge, good, say.also_drawn_at(join_words(held)) if held else ""
    )
    return Figure(key=key, svg=svg, alt=alt, caption=caption, table=_triangle_table(part, result, units))


def _places(drawn: Triangle, blends: Any) -> tuple[Any, Any]:
    """Blends (m, 3) in the plane: the first corner on top, the second left, the third right."""
    even = blends @ np.linalg.inv(drawn.corners)
    return even[:, 2] + even[:, 0] / 2, even[:, 0] * HEIGHT


def _shade(axes: Any, drawn: Triangle, x: Any, y: Any) -> None:
    if drawn.good is not None:
        size = max(float(np.abs(drawn.good).max()), 1e-300)
        good = np.where(drawn.inside >= -1e-9, drawn.good / size, -1.0)
        if float(good.max()) > 0 > float(good.min()):
            axes.tricontourf(x, y, good, levels=[0, 10], colors=[GREEN], alpha=0.16, zorder=1)
            axes.tricontour(x, y, good, levels=[0], colors=[GREEN], linewidths=1.2, zorder=3)
    levels = contour_levels(drawn.mean, drawn.inside)
    inside = drawn.inside >= -0.005
    if len(levels) and int(inside.sum()) > 3:
        lines = axes.tricontour(x[inside], y[inside], drawn.mean[inside], levels=levels, colors=[SOFT], linewidths=1.0)
        axes.clabel(lines, fmt=level_format(levels), fontsize=8, colors=[INK], inline_spacing=3)
    if float(drawn.inside.min()) < -1e-6:
        axes.tricontour(x, y, drawn.inside, levels=[0], colors=[SOFT], linewidths=1.0, linestyles="dashed", zorder=1)


def _name_corners(axes: Any, part: BlendPart, drawn: Triangle, corners: Any, units: dict[str, str]) -> None:
    """The first share above its corner, the others below theirs."""
    for at, name in enumerate(part.shares):
        share = sized(say_number(drawn.corners[at, at] * part.total, part.total / 5), units.get(name, ""))
        text = f"{wrapped(name, width=18, lines=1)}\n{share}"
        above = at == 0
        looks = {"ha": "center", "va": "bottom" if above else "top", "multialignment": "center", "color": SOFT}
        write(axes, corners[0][at], corners[1][at] + (0.03 if above else -0.03), text, **looks)


def _alt_triangle(result: ResponseResult, part: BlendPart, units: dict[str, str], confidence: float) -> str:
    blend = join_words(
        [
            sized(f"{brief(n, 14)} {say_number(float(part.best[n]), part.total / 5)}", units.get(n, ""))
            for n in part.shares
        ]
    )
    wish = {"higher": "highest", "lower": "lowest", "target": say.NEAREST_TARGET}[part.better]
    size = sized(say_number(part.best_response, half_width(part.low, part.high)), result.response.unit)
    said = f" ({say_interval(part.low, part.high, confidence)})" if part.low is not None else ""
    return short_alt(say.triangle_alt(brief(result.response.name, 24), wish, blend, size, said))


def _triangle_table(part: BlendPart, result: ResponseResult, units: dict[str, str]) -> Table:
    of = [f"{name} ({units[name]})" if units.get(name) else name for name in part.shares]
    unit = f" ({result.response.unit})" if result.response.unit else ""
    step = half_width(part.low, part.high)
    numbers = (NONE if v is None else say_number(v, step) for v in (part.best_response, part.low, part.high))
    rows = [(say.BEST, *(say_number(float(part.best[n]), part.total / 5) for n in part.shares), *numbers)]
    for name, ranges in ((say.AS_GOOD_AS_BEST, part.as_good), ("baked", part.limits)):
        if ranges:
            ends = [
                between(say_number(ranges[n].low, part.total / 5), say_number(ranges[n].high, part.total / 5))
                for n in part.shares
            ]
            rows.append((name, *ends, NONE, NONE, NONE))
    return Table(columns=say.columns_of_blends(of, unit), rows=tuple(rows))
