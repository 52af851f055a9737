"""How far does each assessor lie from the rest of the panel?

Each assessor is a row: the mean difference from the others on the same bakes, with its interval; 0 is agreement.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.words.numbers import half_width, say_fixed, say_number, say_p, say_share, say_signed
from analysis.words.panel import say_alt
from analysis.words.pictures import tasting as say
from reports.figures.lettering import row_names, with_unit
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BLUE, SOFT, VERMILLION, canvas, interval, span
from reports.figures.svg import as_svg

if TYPE_CHECKING:
    from analysis.scores.assessors import Assessor, Panel

NONE = "–"


def draw_panel(panel: Panel, *, key: str, confidence: float = 0.95) -> Figure | None:
    """None when no assessor could be compared."""
    rows = [one for one in panel.assessors if one.bias is not None]
    if not rows:
        return None
    alt = short_alt(say_alt(panel))
    with canvas(0.9 + 0.32 * len(rows)) as (figure, (axes,)):
        axes.axvline(0, color=SOFT, linewidth=0.9, zorder=1)
        for place, one in enumerate(rows):
            apart = not (one.bias_low or 0.0) <= 0 <= (one.bias_high or 0.0)
            interval(
                axes,
                one.bias or 0.0,
                place,
                one.bias_low,
                one.bias_high,
                colour=VERMILLION if apart else BLUE,
                marker="s" if apart else "o",
                level=True,
            )
        ends = [value for one in rows for value in (one.bias_low, one.bias_high) if value is not None]
        row_names(axes, list(range(len(rows))), [say.assessor_named(one.person) for one in rows])
        axes.set(xlim=span([0.0, *ends]), ylim=(len(rows) - 0.4, -0.6))
        axes.spines["left"].set_visible(False)
        axes.set_xlabel(with_unit(say.FROM_THE_OTHERS, panel.unit), parse_math=False)
        svg = as_svg(figure, key=key, title=say.PANEL_TITLE, description=alt)
    caption = say.panel_caption(say_share(confidence))
    return Figure(key=key, svg=svg, alt=alt, caption=caption, table=panel_table(panel))


def panel_table(panel: Panel) -> Table:
    """Assessor by assessor: bakes, mean, difference, spread, telling apart."""
    columns = say.COLUMNS_OF_PANEL
    return Table(columns=columns, rows=tuple(_row(one) for one in panel.assessors))


def _row(one: Assessor) -> tuple[str, ...]:
    step = half_width(one.bias_low, one.bias_high)
    ends = [NONE if end is None else say_number(end, step) for end in (one.bias_low, one.bias_high)]
    return (
        str(one.person),
        str(one.bakes),
        say_fixed(one.mean, 2),
        NONE if one.bias is None else say_signed(one.bias, step),
        *ends,
        *(NONE if sd is None else say_fixed(sd, 2) for sd in (one.spread, one.spread_of_rest)),
        NONE if one.p is None else say_p(one.p).removeprefix("p ").removeprefix("= "),
    )
