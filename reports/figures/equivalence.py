"""Is a substitute as good? Intervals of the pairs against the band within which they count as equal."""

from __future__ import annotations

from typing import Any

from analysis.parts import Equivalence
from analysis.results import ResponseResult
from analysis.words.numbers import half_width, say_interval, say_number, say_share, say_signed, start
from analysis.words.pictures import effects as say
from reports.figures.lettering import brief, row_names, sized, with_unit, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BAND, BLUE, INK, SOFT, VERMILLION, canvas, interval, span
from reports.figures.svg import as_svg

MOST_ROWS = 24
VERDICTS = {"yes": say.AS_GOOD, "no": say.NOT_AS_GOOD, "unsure": "cannot tell"}
_LOOKS = {"yes": (BLUE, "o", False), "no": (INK, "D", False), "unsure": (VERMILLION, "s", True)}


def draw_equivalence(result: ResponseResult, *, key: str, confidence: float = 0.95) -> Figure | None:
    """Each pair's difference (or ratio in percent) with its interval; None when no margin was asked about."""
    found = [one for one in result.family.equivalence if one.low is not None]
    if not found:
        return None
    drawn, inner = found[:MOST_ROWS], 2 * confidence - 1
    ratio, unit = found[0].ratio, "%" if found[0].ratio else result.response.unit
    scale = 100.0 if ratio else 1.0
    low, high = scale * found[0].margin_low, scale * found[0].margin_high
    with canvas(0.75 + (0.44 if len(drawn) <= 8 else 0.36) * max(len(drawn), 2)) as (figure, (axes,)):
        axes.axvspan(low, high, color=BAND, linewidth=0, zorder=0)
        axes.axvline(scale if ratio else 0.0, color=SOFT, linewidth=0.8, zorder=1)
        reach = [low, high]
        for row, one in enumerate(drawn):
            colour, marker, hollow = _LOOKS[one.equivalent]
            ends = [None if end is None else scale * end for end in (one.low, one.high)]
            reach += [end for end in ends if end is not None]
            looks: dict[str, Any] = {"colour": colour, "marker": marker, "level": True, "hollow": hollow}
            interval(axes, scale * one.estimate, row, ends[0], ends[1], **looks)
            where: dict[str, Any] = {
                "transform": axes.get_yaxis_transform(),
                "ha": "left",
                "color": SOFT,
                "fontsize": 8,
            }
            write(axes, 1.02, row, VERDICTS[one.equivalent], **where)
        row_names(axes, list(range(len(drawn))), [wrapped(say.a_against_b(one.a, one.b)) for one in drawn])
        axes.set(xlim=span(reach), ylim=(len(drawn) - 0.4, -0.6))
        axes.spines["left"].set_visible(False)
        what = "ratio" if ratio else "difference"
        axes.set_xlabel(with_unit(say.what_in(what, brief(result.response.name, 40)), unit), parse_math=False)
        alt = short_alt(say.as_good_alt(brief(result.response.name)), _said(drawn[0], unit, inner))
        title = say.as_good_title(brief(result.response.name, 60))
        svg = as_svg(figure, key=key, title=title, description=alt)
    caption = say.as_good_caption(what, say_share(inner), say_number(low), sized(say_number(high), unit))
    return Figure(key=key, svg=svg, alt=alt, caption=caption, table=_table(found, unit, scale))


def _said(one: Equivalence, unit: str, inner: float) -> str:
    scale = 100.0 if one.ratio else 1.0
    low, high = (None if end is None else scale * end for end in (one.low, one.high))
    size = say_number if one.ratio else say_signed
    said = sized(size(scale * one.estimate, half_width(low, high)), unit)
    return say.pair_of(one.a, one.b, VERDICTS[one.equivalent], said, say_interval(low, high, inner))


def _table(found: list[Equivalence], unit: str, scale: float) -> Table:
    rows = []
    for one in found:
        low, high = (None if end is None else scale * end for end in (one.low, one.high))
        step = half_width(low, high)
        ends = ["–" if end is None else say_number(end, step) for end in (low, high)]
        rows.append(
            (
                say.a_against_b(one.a, one.b),
                say_number(scale * one.estimate, step),
                *ends,
                start(VERDICTS[one.equivalent]),
            )
        )
    named = f" ({unit})" if unit else ""
    what = "ratio" if found[0].ratio else "difference"
    return Table(columns=say.columns_of_pairs(what, named), rows=tuple(rows))
