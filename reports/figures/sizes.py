"""What could so many bakes see? Bakes against the smallest difference, as one falling line with its numbers."""

from __future__ import annotations

from analysis.sizes.answers import SizeAnswer
from analysis.words.numbers import say_number
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
    told = f"seen in {round(100 * answer.question.power)} of 100 trials"
    with canvas(3.0) as (figure, (axes,)):
        axes.plot(across, heights, color=BLUE, marker="o", markersize=4, linewidth=1.4)
        for x, y in zip(across, heights, strict=True):
            label = say_number(y, y) if by_difference else say_chances(y)
            axes.annotate(label, (x, y), textcoords="offset points", xytext=(4, 5), fontsize=8, color=SOFT)
        axes.set(xlim=(0, max(across) * 1.12), ylim=(0, max(heights) * 1.15))
        axes.set_xlabel("bakes in all", parse_math=False)
        title = f"smallest difference {told}" if by_difference else "chance to see it"
        axes.set_title(with_unit(title, unit if by_difference else ""), loc="left", fontsize=9, color=SOFT)
        first, last = points[0], points[-1]
        begins = f"see a difference of {say_number(heights[0], heights[0])}" if by_difference else ""
        alt = short_alt(
            f"{first.total} bakes {begins}",
            f"{last.total} see {say_number(heights[-1], heights[-1])} {unit}".strip(),
        )
        svg = as_svg(figure, key=key, title="Bakes against what can be seen", description=alt)
    rows = tuple(
        (
            str(point.each),
            str(point.total),
            "" if point.difference is None else say_number(point.difference, point.difference),
            "" if point.power is None else say_chances(point.power),
        )
        for point in points
    )
    smallest = with_unit("smallest difference", unit)
    return Figure(
        key=key,
        svg=svg,
        alt=alt,
        caption=f"Bakes against what can be {told}.",
        table=Table(columns=(f"bakes {MISSING[answer.question.what]}", "in all", smallest, "of 100 trials"), rows=rows),
    )
