"""What would each level give, and how far apart lay the single bakes?

Estimated means of a factor with their intervals, over the raw bakes. One row for each
level: long names stay readable and two hundred levels still fit.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.estimates import Mean
from analysis.results import ResponseResult
from analysis.words.numbers import half_width, say_interval, say_level, say_number, say_share
from analysis.words.pictures import effects as say
from reports.figures.lettering import brief, row_names, sized, with_unit, wrapped
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.points import offsets, same_level, thinned
from reports.figures.style import BLUE, RULE, SOFT, canvas, interval, scatter, span
from reports.figures.svg import as_svg

MOST_NAMES = 30
TALLEST = 7.0  # inches: a page of paper holds it with its caption


def mean_factors(result: ResponseResult) -> list[str]:
    """Factors with estimated means of their own, in the order of the model."""
    return list(dict.fromkeys(mean.factor for mean in result.family.means if not mean.at))


def draw_means(
    result: ResponseResult, factor: str, *, key: str, unit: str = "", confidence: float = 0.95
) -> Figure | None:
    """Levels of ``factor`` (its own ``unit`` stands in the title); None when the model gives no means for it."""
    means = [mean for mean in result.family.means if mean.factor == factor and not mean.at]
    if not means:
        return None
    response = result.response
    rows = list(range(len(means)))
    height = min(TALLEST, 0.75 + 0.36 * max(len(means), 2))
    with canvas(height) as (figure, (axes,)):
        reach = [v for mean in means for v in (mean.low, mean.high, mean.mean) if v is not None]
        for row, mean in zip(rows, means, strict=True):
            bakes = [
                p.observed for p in thinned(result.family.points) if same_level(p.settings.get(factor), mean.level)
            ]
            reach += bakes
            if bakes:
                scatter(axes, bakes, [row + off for off in offsets(len(bakes), 0.22)], colour=SOFT, marker="o", size=14)
            if len(means) <= MOST_NAMES:
                axes.axhline(row, color=RULE, linewidth=0.5, zorder=0)
            interval(axes, mean.mean, row, mean.low, mean.high, colour=BLUE, marker="D", level=True)
        step = row_names(axes, rows, [wrapped(mean.level) for mean in means], most=MOST_NAMES)
        axes.set(xlim=span(reach), ylim=(len(means) - 0.4, -0.6))
        axes.spines["left"].set_visible(False)
        axes.set_title(with_unit(brief(factor, 40), unit), loc="left", fontsize=9, color=SOFT, parse_math=False)
        axes.set_xlabel(with_unit(brief(response.name, 40), response.unit), parse_math=False)
        alt = _alt(means, result, factor, confidence)
        svg = as_svg(
            figure, key=key, title=say.means_title(brief(response.name, 40), brief(factor, 40)), description=alt
        )
    return Figure(
        key=key,
        svg=svg,
        alt=alt,
        caption=_caption(means, factor, unit, step, confidence),
        table=_table(means, factor, response.unit),
    )


def _alt(means: Sequence[Mean], result: ResponseResult, factor: str, confidence: float) -> str:
    response = result.response
    lowest = response.goal == "minimise"
    best = min(means, key=lambda mean: mean.mean) if lowest else max(means, key=lambda mean: mean.mean)
    value = sized(say_number(best.mean, half_width(best.low, best.high)), response.unit)
    where = say.means_where(brief(response.name, 24), len(means), brief(factor, 24))
    said = say_interval(best.low, best.high, confidence)
    return short_alt(f"{say.LOWEST if lowest else say.HIGHEST} {where}: {brief(best.level, 24)}, {value} ({said}).")


def _caption(means: Sequence[Mean], factor: str, unit: str, step: int, confidence: float) -> str:
    shown = f"{factor} ({unit})" if unit else factor
    known = any(mean.low is not None for mean in means)
    intervals = say.with_intervals(say_share(confidence)) if known else ""
    said = say.means_caption(shown, intervals)
    return say.levels_named(said, _nth(step)) if step > 1 else said


def _nth(step: int) -> str:
    return {2: "second", 3: "third"}.get(step, f"{step}th")


def _table(means: Sequence[Mean], factor: str, unit: str) -> Table:
    shown = f" ({unit})" if unit else ""
    letters = any(mean.letters for mean in means)
    rows = []
    for mean in means:
        step = half_width(mean.low, mean.high)
        ends = [say_number(end, step) if end is not None else "–" for end in (mean.low, mean.high)]
        rows.append(
            (say_level(mean.level), say_number(mean.mean, step), *ends, *([mean.letters or "–"] if letters else []))
        )
    extra = say.SAME_LETTER if letters else ()
    return Table(
        columns=(factor, say.estimated_mean(shown), say.low_of(shown), say.high_of(shown), *extra), rows=tuple(rows)
    )
