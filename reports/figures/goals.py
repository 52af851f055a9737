"""Where are all goals met?

The region is drawn as labelled contours of sureness with what was baked and the best compromise;
along one amount as a line for each level; over levels alone as dots.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from analysis.goals.results import GoalRegion, GoalsPart
from analysis.questions import Question
from analysis.results import Analysis
from analysis.words.goals import say_settings, say_sureness
from analysis.words.numbers import join_words, say_amount, say_fixed, say_number, say_percent
from analysis.words.pages import between
from analysis.words.pictures import goals as say
from reports.figures.lettering import brief, row_names, with_unit, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import (
    BAND,
    GREEN,
    INK,
    LINES,
    MARKERS,
    PAPER,
    SOFT,
    VERMILLION,
    canvas,
    interval,
    line,
    scatter,
    span,
    spread,
)
from reports.figures.svg import as_svg

SURE = (0.5, 0.8, 0.95)
SHADES = (0.18, 0.36, 0.58)


def draw_region(part: GoalsPart, analysis: Analysis, *, key: str) -> Figure | None:
    """How surely all goals are met; None where nothing tells."""
    region = part.region
    if region is None:
        return None
    units = {factor.name: factor.unit for factor in analysis.question.factors}
    numeric = [not isinstance(axis.values[0], str) for axis in region.axes]
    alt = _region_alt(part, region, units)
    rows = len(region.axes[0].values) if not numeric[0] else 0
    with canvas(max(1.8, min(0.32 * rows + 1.0, 6.0)) if rows else 3.8) as (figure, (axes,)):
        if len(numeric) == 2 and all(numeric):
            _contours(axes, part, region, analysis, units)
        elif numeric[0]:
            _along(axes, region, units)
        else:
            _levels(axes, region)
        svg = as_svg(figure, key=key, title=say.HOW_SURELY, description=alt)
    return Figure(
        key=key,
        svg=svg,
        alt=alt,
        caption=_region_caption(region, analysis.question),
        table=_region_table(part, region, units),
    )


def _contours(axes, part, region: GoalRegion, analysis: Analysis, units: Mapping[str, str]) -> None:  # type: ignore[no-untyped-def]
    import numpy as np

    across, up = region.axes
    x, y = (np.array(axis.values, dtype=float) for axis in region.axes)
    chance = np.ma.masked_invalid(np.array([[np.nan if v is None else v for v in row] for row in region.chance]))
    labels: list[tuple[float, float, str]] = []
    for least, shade in zip(SURE, SHADES, strict=True):
        if chance.max() >= least:
            axes.contourf(x, y, chance, levels=[least, 1.01], colors=[GREEN], alpha=shade, zorder=1)
            drawn = axes.contour(x, y, chance, levels=[least], colors=[INK], linewidths=0.8, zorder=2)
            labels += _labelled(drawn, say_percent(least))
    _write_labels(axes, labels, (x[0], x[-1]), (y[0], y[-1]))
    baked = _baked(analysis, across.name, up.name)
    if baked:
        scatter(axes, [a for a, _ in baked], [b for _, b in baked], colour=SOFT, marker="o", size=18, alpha=1.0)
    best = part.best or part.nearest
    if best is not None:
        a, b = float(best.settings[across.name]), float(best.settings[up.name])
        interval(axes, a, b, None, None, colour=VERMILLION, marker="D", hollow=True)
        # Above the mark, or below it where that would leave the picture.
        low = b > y[0] + 0.8 * (y[-1] - y[0])
        place = b + (y[-1] - y[0]) * (-0.16 if low else 0.16)
        axes.plot([a, a], [b, place], color=VERMILLION, linewidth=0.8, zorder=3)
        at = "left" if a < x[0] + 0.25 * (x[-1] - x[0]) else "right" if a > x[-1] - 0.25 * (x[-1] - x[0]) else "center"
        said = say.BEST_COMPROMISE if part.best else say.NEAREST
        write(axes, a, place, said, color=VERMILLION, ha=at, va="top" if low else "bottom", fontsize=8, zorder=6,
              bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.0, "alpha": 0.85})  # fmt: skip
    axes.set(xlim=span(list(x), share=0.03), ylim=span(list(y), share=0.03))
    axes.set_xlabel(with_unit(brief(across.name, 40), units.get(across.name, "")), parse_math=False)
    axes.set_ylabel(with_unit(brief(up.name, 40), units.get(up.name, "")), parse_math=False)


def _labelled(drawn, text: str) -> list[tuple[float, float, str]]:  # type: ignore[no-untyped-def]
    """Where the label of a sureness belongs: at the right end of its longest contour."""
    segments = [segment for each in drawn.allsegs for segment in each if len(segment) > 1]
    if not segments:
        return []
    longest = max(segments, key=len)
    place = longest[longest[:, 0].argmax()]
    return [(float(place[0]), float(place[1]), text)]


def _write_labels(  # type: ignore[no-untyped-def]
    axes, labels: Sequence[tuple[float, float, str]], across: tuple[float, float], up: tuple[float, float]
) -> None:
    """Labels right of all contours, one below the other where they would meet, each with a line to its own."""
    if not labels:
        return
    wide, high = across[1] - across[0], up[1] - up[0]
    right = max(x for x, _, _ in labels) + 0.03 * wide
    # The surest contour lies innermost: its label goes on top, so that no line crosses another.
    ordered = sorted(labels, key=lambda label: (-round(label[1] / high, 1), label[0]))
    places = spread([y for _, y, _ in ordered], 0.06 * high, up[0] + 0.05 * high, up[1])
    for (x, y, text), place in zip(ordered, places, strict=True):
        axes.plot([x, right], [y, place], color=INK, linewidth=0.6, zorder=5)
        write(axes, right, place, f" {text}", ha="left", va="center", fontsize=8, zorder=5)


def _baked(analysis: Analysis, across: str, up: str) -> list[tuple[float, float]]:
    points = {
        (float(point.settings[across]), float(point.settings[up]))
        for result in analysis.responses
        for point in result.family.points
        if across in point.settings and up in point.settings
    }
    return sorted(points)


def _along(axes, region: GoalRegion, units: Mapping[str, str]) -> None:  # type: ignore[no-untyped-def]
    """One line for each level of the second axis (or the only one)."""
    across = region.axes[0]
    names = [str(value) for value in region.axes[1].values] if len(region.axes) > 1 else [""]
    for least in SURE:
        axes.axhline(100 * least, color=BAND, linewidth=1.2, zorder=0)
    x = [float(value) for value in across.values]
    ends = []
    for series, row in enumerate(region.chance):
        y = [100 * value if value is not None else float("nan") for value in row]
        line(axes, x, y, series=series)
        ends.append(y[-1] if y[-1] == y[-1] else 0.0)
    if len(names) > 1:
        for series, (name, place) in enumerate(zip(names, spread(ends, 9, 0, 100), strict=True)):
            write(axes, 1.01, place, wrapped(name, width=13), transform=axes.get_yaxis_transform(), ha="left",
                  multialignment="left", color=LINES[series % len(LINES)])  # fmt: skip
    axes.set(xlim=span(x, share=0.03), ylim=(-3, 103), yticks=[0, 50, 80, 95])
    axes.set_xlabel(with_unit(brief(across.name, 40), units.get(across.name, "")), parse_math=False)
    axes.set_ylabel(say.SURENESS_AXIS, parse_math=False)


def _levels(axes, region: GoalRegion) -> None:  # type: ignore[no-untyped-def]
    """Dots: one row for each level, one mark for each level of the second axis."""
    names = [str(value) for value in region.axes[0].values]
    places = [float(-at) for at in range(len(names))]
    row_names(axes, places, [wrapped(name, width=18) for name in names])
    for series, row in enumerate(region.chance):
        for place, value in zip(places, row, strict=True):
            if value is not None:
                colour, marker = LINES[series % len(LINES)], MARKERS[series % len(MARKERS)]
                axes.plot([100 * value], [place], marker=marker, color=colour, markersize=6.5, linestyle="none")
        if len(region.axes) > 1:
            name = str(region.axes[1].values[series])
            write(axes, 100 * (row[0] or 0.0), places[0] + 0.32 + 0.12 * series, brief(name, 16), ha="center",
                  fontsize=8, color=LINES[series % len(LINES)])  # fmt: skip
    for least in SURE:
        axes.axvline(100 * least, color=BAND, linewidth=1.2, zorder=0)
    axes.set(xlim=(-3, 103), ylim=(places[-1] - 0.6, 0.9), xticks=[0, 50, 80, 95])
    axes.set_xlabel(say.SURENESS_AXIS, parse_math=False)


def _region_alt(part: GoalsPart, region: GoalRegion, units: Mapping[str, str]) -> str:
    best = part.best or part.nearest
    at = _settings_along(part, region, units)
    where = say.at_places(join_words([brief(each, 30) for each in at])) if at else ""
    sure = "" if best is None or best.chance is None else say.best_is_sure(where, say_sureness(best.chance))
    share = next((one for one in region.sureness if one.chance == 0.8), None)
    over = join_words([brief(axis.name, 24) for axis in region.axes])
    more = "" if share is None else say.mostly_over(say_percent(share.share))
    return short_alt(say.region_alt(over, sure, more))


def _region_caption(region: GoalRegion, question: Question) -> str:
    others = say.with_others(say_settings(region.others, question)) if region.others else ""
    if len(region.axes) == 2 and not any(isinstance(axis.values[0], str) for axis in region.axes):
        return say.contours_caption(others)
    return say.lines_caption(others)


def _settings_along(part: GoalsPart, region: GoalRegion, units: Mapping[str, str]) -> tuple[str, ...]:
    """The best compromise on each axis of the picture: "1.52 % flour" or "yogurt"; () without one."""
    best = part.best or part.nearest
    if best is None or any(axis.name not in best.settings for axis in region.axes):
        return ()
    values = [(axis.name, best.settings[axis.name]) for axis in region.axes]
    return tuple(v if isinstance(v, str) else say_amount(v, units.get(name, "")) for name, v in values)


def _region_table(part: GoalsPart, region: GoalRegion, units: Mapping[str, str]) -> Table:
    columns = say.columns_of_region(with_unit(axis.name, units.get(axis.name, "")) for axis in region.axes)
    rows = []
    for one in region.sureness:
        reach = [_reached(ends) for ends in one.reach] or ["nowhere"] * len(region.axes)
        rows.append((say.and_more(say_percent(one.chance)), f"{say_fixed(100 * one.share, 1)} %", *reach))
    best, at = part.best or part.nearest, _settings_along(part, region, {})
    if best is not None and at:
        sure = "" if best.chance is None else f", {say_sureness(best.chance)}"
        rows.append((say.compromise_row(sure), "–", *at))
    return Table(columns=columns, rows=tuple(rows))


def _reached(ends: Sequence[float | str]) -> str:
    if ends and isinstance(ends[0], str):
        return join_words([str(level) for level in ends])
    low, high = (say_number(float(end)) for end in ends)
    return low if low == high else between(low, high)
