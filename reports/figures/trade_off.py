"""What does a gain in one goal cost the other?

The path of treatments that none other beats in both goals, with the treatments named along it and what is good
enough in both shaded.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.goals.results import Front, GoalsPart, GoalTaken
from analysis.questions import Question
from analysis.words.goals import say_settings
from analysis.words.numbers import half_width, say_number
from analysis.words.pictures import goals as say
from reports.figures.lettering import brief, with_unit, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BLUE, GREEN, SOFT, canvas, line, span
from reports.figures.svg import as_svg

Limits = tuple[tuple[float, float], tuple[float, float]]


def draw_front(front: Front, part: GoalsPart, question: Question, *, key: str) -> Figure:
    """The path with its ends and its middle named; shaded: what is good enough in both."""
    goals = {goal.response: goal for goal in part.goals}
    first, second = goals[front.first], goals[front.second]
    x, y = [p.first for p in front.points], [p.second for p in front.points]
    alt = short_alt(
        say.path_alt(
            brief(front.first, 24),
            say_number(x[0]),
            brief(front.second, 24),
            say_number(y[0]),
            say_number(x[-1]),
            say_number(y[-1]),
        )
    )
    with canvas(3.7) as (figure, (axes,)):
        limits = span(x, share=0.3), span(y, share=0.22)
        line(axes, x, y, series=0)
        axes.plot(x, y, marker="o", markersize=4.5, linestyle="none", color=BLUE, zorder=4)
        named = _name_treatments(axes, front, question, limits)
        _shade(axes, first, second, limits, [*zip(x, y, strict=True), *named])
        axes.set(xlim=limits[0], ylim=limits[1])
        axes.set_xlabel(with_unit(brief(front.first, 40), first.unit), parse_math=False)
        axes.set_ylabel(with_unit(brief(front.second, 40), second.unit), parse_math=False)
        svg = as_svg(
            figure,
            key=key,
            title=say.one_against_other(brief(front.first, 40), brief(front.second, 40)),
            description=alt,
        )
    caption = say.path_caption(front.first, front.second)
    return Figure(key=key, svg=svg, alt=alt, caption=caption, table=_front_table(front, question, first, second))


def _name_treatments(axes, front: Front, question: Question, limits: Limits) -> list[tuple[float, float]]:  # type: ignore[no-untyped-def]
    """The ends of the path and its middle by their settings, beside it and not on it; returns the names' middles."""
    path = sorted((point.first, point.second) for point in front.points)
    placed: list[tuple[float, float]] = []
    for at in sorted({0, len(front.points) // 2, len(front.points) - 1}):
        x, y = front.points[at].first, front.points[at].second
        left = x > (limits[0][0] + limits[0][1]) / 2
        # Above where the path on the name's side lies lower, else below; the other way if another name is there.
        beside = x + (-0.2 if left else 0.2) * (limits[0][1] - limits[0][0])
        above = float(np.interp(beside, [at for at, _ in path], [height for _, height in path])) < y
        across = -0.16 if left else 0.16
        if any(_meets(_moved((x, y), (across, 0.08 if above else -0.08), limits), other, limits) for other in placed):
            above = not above
        placed.append(_moved((x, y), (across, 0.08 if above else -0.08), limits))
        said = wrapped(say_settings(front.points[at].settings, question), width=24, lines=3)
        lines = "\n".join(f"{text}  " if left else f"  {text}" for text in said.split("\n"))
        looks = {"ha": "right" if left else "left", "va": "bottom" if above else "top", "fontsize": 8, "color": SOFT}
        write(axes, x, _moved((x, y), (0, 0.02 if above else -0.02), limits)[1], lines, zorder=5, **looks)
    return placed


def _moved(point: tuple[float, float], by: tuple[float, float], limits: Limits) -> tuple[float, float]:
    """A place so many shares of the picture further."""
    (left, right), (bottom, top) = limits
    return point[0] + by[0] * (right - left), point[1] + by[1] * (top - bottom)


def _meets(one: tuple[float, float], other: tuple[float, float], limits: Limits) -> bool:
    """Would two names (a third of the picture wide, an eighth high) with these middles lie on each other?"""
    (left, right), (bottom, top) = limits
    return abs(one[0] - other[0]) < 0.34 * (right - left) and abs(one[1] - other[1]) < 0.13 * (top - bottom)


def _shade(  # type: ignore[no-untyped-def]
    axes, first: GoalTaken, second: GoalTaken, limits: Limits, taken: Sequence[tuple[float, float]]
) -> None:
    """What is good enough in both, named in that corner of it which lies furthest from what is drawn (``taken``)."""
    ends = []
    for goal, (low, high) in zip((first, second), limits, strict=True):
        ends.append(
            (low if goal.low is None else max(goal.low, low), high if goal.high is None else min(goal.high, high))
        )
    (left, right), (bottom, top) = ends
    if left < right and bottom < top:
        axes.fill_between([left, right], bottom, top, color=GREEN, alpha=0.16, linewidth=0, zorder=0)
        wide, high = (end[1] - end[0] for end in limits)

        def room(corner: tuple[float, float]) -> float:
            middle = _moved(
                corner, (0.18 if corner[0] == left else -0.18, 0.03 if corner[1] == bottom else -0.03), limits
            )
            return min(max(abs(x - middle[0]) / wide / 0.34, abs(y - middle[1]) / high / 0.11) for x, y in taken)

        x, y = max(((x, y) for y in (bottom, top) for x in (left, right)), key=room)
        sides = {"va": "bottom" if y == bottom else "top", "ha": "left" if x == left else "right"}
        write(axes, x, y, say.GOOD_IN_BOTH, fontsize=8, color=SOFT, zorder=1, **sides)


def _front_table(front: Front, question: Question, first: GoalTaken, second: GoalTaken) -> Table:
    names = list(front.points[0].settings)
    units = {factor.name: factor.unit for factor in question.factors}
    rows = []
    for p in front.points:
        settings = [v if isinstance(v, str) else say_number(v) for v in p.settings.values()]
        rows.append(
            (
                *settings,
                _with_ends(p.first, p.first_low, p.first_high),
                _with_ends(p.second, p.second_low, p.second_high),
            )
        )
    columns = (
        *(with_unit(name, units.get(name, "")) for name in names),
        with_unit(front.first, first.unit),
        with_unit(front.second, second.unit),
    )
    return Table(columns=columns, rows=tuple(rows))


def _with_ends(value: float, low: float | None, high: float | None) -> str:
    step = half_width(low, high)
    if low is None or high is None or step is None:
        return say_number(value)
    return say.value_with_ends(say_number(value, step), say_number(low, step), say_number(high, step))
