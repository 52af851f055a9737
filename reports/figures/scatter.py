"""Where does the scatter lie? One standard deviation for each kind of group, on the response's scale."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.linear.scatter import RESIDUAL, GroupScatter, ScatterPart
from analysis.words.numbers import half_width, say_number, say_share
from analysis.words.pictures import trust as say
from analysis.words.plurals import several
from analysis.words.scatter import spoken, units
from reports.figures.lettering import brief, row_names, sized, with_unit, wrapped
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BLUE, RULE, SOFT, canvas, interval
from reports.figures.svg import as_svg


def draw_scatter(part: ScatterPart, *, response: str, unit: str, key: str, confidence: float) -> Figure:
    """Diamonds with intervals from 0 on; slopes stand in the table only, being per unit of an amount."""
    shown = [line for line in part.lines if line.slope_of is None]
    rows = list(range(len(shown)))
    with canvas(0.75 + 0.4 * max(len(shown), 2)) as (figure, (axes,)):
        for row, line in zip(rows, shown, strict=True):
            axes.axhline(row, color=RULE, linewidth=0.5, zorder=0)
            interval(axes, line.sd, row, line.low, line.high, colour=BLUE, marker="D", level=True)
        row_names(axes, rows, [wrapped(named(part, line)) for line in shown])
        reach = _reach(shown) * 1.08 or 1.0  # begins before 0, so that a diamond at 0 is seen whole
        axes.set(xlim=(-0.025 * reach, reach), ylim=(len(shown) - 0.4, -0.6))
        axes.spines["left"].set_visible(False)
        axes.set_title(say.SD_BETWEEN, loc="left", fontsize=9, color=SOFT)
        axes.set_xlabel(with_unit(brief(response, 40), unit), parse_math=False)
        most = max(shown, key=lambda line: line.sd)
        alt = short_alt(
            say.most_lies_between(brief(response, 24), brief(named(part, most), 30)),
            say.sd_of(sized(_said(most, most.sd), unit)),
        )
        svg = as_svg(figure, key=key, title=say.scatter_lies_title(brief(response, 40)), description=alt)
    return Figure(
        key=key,
        svg=svg,
        alt=alt,
        caption=say.scatter_lies_caption(say_share(confidence)),
        table=_table(part, unit),
    )


def _reach(lines: Sequence[GroupScatter]) -> float:
    """As far as the intervals go, but not so far that the estimates are lost beside the longest of them."""
    most = max(line.sd for line in lines)
    ends = [line.high for line in lines if line.high is not None and line.high < 6 * most]
    return max([most, *ends])


def named(part: ScatterPart, line: GroupScatter) -> str:
    """ "batches of one day", "bakes of one batch"."""
    who = part.smallest if line.group == RESIDUAL else units(line.group)
    return say.units_within(who, spoken(line.within)) if line.within else who


def _said(line: GroupScatter, value: float | None) -> str:
    step = half_width(line.low, line.high)
    return "–" if value is None else say_number(value, step and min(step, line.sd or step))


def _table(part: ScatterPart, unit: str) -> Table:
    shown = f" ({unit})" if unit else ""
    rows = tuple(
        (
            say.slope_between(line.slope_of, several(spoken(line.group))) if line.slope_of else named(part, line),
            "–" if line.groups is None else str(line.groups),
            _said(line, line.sd),
            _said(line, line.low),
            _said(line, line.high),
        )
        for line in part.lines
    )
    columns = say.columns_of_scatter(shown)
    return Table(columns=columns, rows=rows)
