"""What meets all goals at once, where, and what does each goal cost the others?"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.goals.results import Forecast, GoalsPart, GoalTaken
from analysis.results import Analysis
from analysis.words import headings as say
from analysis.words.goals import say_goals, say_sureness
from analysis.words.numbers import half_width, say_fixed, say_number, start
from analysis.words.pages import between
from reports.figures.goals import draw_region
from reports.figures.lettering import with_unit
from reports.figures.picture import Table
from reports.figures.trade_off import draw_front
from reports.html import plain
from reports.sections.blocks import Grid, Items, Picture
from reports.sections.numbering import Keys

COLUMNS = say.GOAL_COLUMNS


def show_goals(part: GoalsPart, about: Analysis, analysis: Analysis, keys: Keys) -> Sequence[Items | Grid | Picture]:
    """The sentences, every goal at the best compromise as a table, the region and the trade-offs."""
    blocks: list[Items | Grid | Picture] = [Items(items=tuple(map(plain, say_goals(part, about, analysis.question))))]
    best = part.best or part.nearest
    if best is None:
        return blocks
    rows = tuple(_row(goal, forecast) for goal, forecast in zip(part.goals, best.forecasts, strict=True))
    caption = say.AT_BEST if part.best else say.AT_NEAREST
    blocks.append(Grid(caption=caption, table=Table(columns=COLUMNS, rows=rows)))
    figure = draw_region(part, analysis, key=keys())
    if figure is not None:
        blocks.append(Picture(figure=figure))
    blocks += [
        Picture(figure=draw_front(front, part, analysis.question, key=keys()), fold=True) for front in part.fronts
    ]
    return blocks


def _row(goal: GoalTaken, forecast: Forecast) -> tuple[str, ...]:
    step = half_width(forecast.low, forecast.high)
    return (
        plain(with_unit(start(goal.response), goal.unit)),
        *_wanted(goal),
        say_number(forecast.mean, step),
        _ends(forecast.low, forecast.high),
        _ends(forecast.bake_low, forecast.bake_high),
        "–" if forecast.chance is None else say_sureness(forecast.chance),
        say_fixed(forecast.desirability, 2),
    )


def _wanted(goal: GoalTaken) -> tuple[str, str]:
    low, high, full = (None if value is None else say_number(value) for value in (goal.low, goal.high, goal.full))
    if goal.goal == "target":
        return say.ends_both(low, high, full)
    return say.or_more_both(low, full) if goal.goal == "maximise" else say.or_less_both(high, full)


def _ends(low: float | None, high: float | None) -> str:
    step = half_width(low, high)
    if low is None or high is None or step is None:
        return "–"
    return between(say_number(low, step), say_number(high, step))
