"""What could so many bakes see? Bakes against the smallest difference, as one falling line with its numbers."""

from __future__ import annotations

from analysis.sizes.answers import SizeAnswer
from analysis.words.numbers import say_number
from analysis.words.pictures import doses as say
from analysis.words.sizes import MISSING, say_chances
from reports.figures.lettering import with_unit
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BLUE, SOFT, canvas
from reports.figures.svg import as_svg


def draw_size(answer: SizeAnswer, *, unit: str = "", key: str = "size") -> Figure:
    """The curve; where no difference is asked (shares, scores, equivalence) the chance itself is drawn."""
    by_difference = any(point.difference is not None for point in answer.curve)
    points = [point for point in answer.curve if not by_difference or point.difference is not None]
    across = [point.total for point in points]
    up = [point.difference if by_difference else point.power for point in points]
    heights = [float(value or 0.0) for value in up]
    told = say.seen_in(round(100 * answer.question.power))
    with canvas(3.0) as (figure, (axes,)):
        axes.plot(across, heights, color=BLUE, marker="o", markersize=4, linewidth=1.4)
        for x, y in zip(across, heights, strict=True):
            label = say_number(y, y) if by_difference else say_chances(y)
            axes.annotate(label, (x, y), textcoords="offset points", xytext=(4, 5), fontsize=8, color=SOFT)
        axes.set(xlim=(0, max(across) * 1.12), ylim=(0, max(heights) * 1.15))
        axes.set_xlabel(say.BAKES_IN_ALL, parse_math=False)
        title = say.smallest_told(told) if by_difference else say.CHANCE_TO_SEE
        axes.set_title(with_unit(title, unit if by_difference else ""), loc="left", fontsize=9, color=SOFT)
        first, last = points[0], points[-1]
        begins = say.see_difference(say_number(heights[0], heights[0])) if by_difference else ""
        alt = short_alt(
            say.bakes_begin(first.total, begins),
            say.bakes_end(last.total, say_number(heights[-1], heights[-1]), unit).strip(),
        )
        svg = as_svg(figure, key=key, title=say.SIZES_TITLE, description=alt)
    rows = tuple(
        (
            str(point.each),
            str(point.total),
            "" if point.difference is None else say_number(point.difference, point.difference),
            "" if point.power is None else say_chances(point.power),
        )
        for point in points
    )
    smallest = with_unit(say.SMALLEST, unit)
    return Figure(
        key=key,
        svg=svg,
        alt=alt,
        caption=say.sizes_caption(told),
        table=Table(
            columns=say.columns_of_sizes(MISSING[answer.question.what], smallest),
            rows=rows,
        ),
    )
