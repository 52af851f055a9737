"""Does the measured pH move with the predicted one? And how does a titration run?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.leavening.curve import CABBAGE, TitrationCurve, cabbage_colour
from analysis.leavening.measured import FEWEST_BAKES, odd_ph
from analysis.leavening.runs import PREDICTED_PH
from analysis.words.numbers import say_fixed
from analysis.words.pictures import chemistry as say
from reports.figures.lettering import write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BLUE, INK, SOFT, VERMILLION, canvas, line, scatter, span
from reports.figures.svg import as_svg

if TYPE_CHECKING:
    from pandas import DataFrame

FEWEST = 3


def draw_ph(bakes: DataFrame, *, key: str) -> Figure | None:
    """Measured against predicted pH, a mark a bake (columns ``bake``, ``measured_ph``, predicted); None below three."""
    if len(bakes) < FEWEST:
        return None
    names = [str(name) for name in bakes["bake"]]
    predicted, measured = [[float(v) for v in bakes[column]] for column in (PREDICTED_PH, "measured_ph")]
    odd = {each.bake for each in odd_ph(names, measured, predicted)}
    with canvas(2.8) as (figure, (axes,)):
        rest = [i for i, name in enumerate(names) if name not in odd]
        out = [i for i, name in enumerate(names) if name in odd]
        scatter(axes, [predicted[i] for i in rest], [measured[i] for i in rest], colour=BLUE, marker="o", size=24)
        if out:
            scatter(
                axes, [predicted[i] for i in out], [measured[i] for i in out], colour=VERMILLION, marker="s", size=34
            )
        for i in out:
            write(axes, predicted[i], measured[i], say.bake_named(names[i]), ha="left", color=SOFT, fontsize=8)
        axes.set(xlim=span(predicted), ylim=span(measured))
        axes.set_xlabel(say.PREDICTED_CRUMB_PH, parse_math=False)
        axes.set_ylabel(say.MEASURED_PH, parse_math=False)
        alt = short_alt(_said(names, measured, predicted, odd))
        svg = as_svg(figure, key=key, title=say.PH_TITLE, description=alt)
    rows = tuple(
        (name, say_fixed(p, 2), say_fixed(m, 2), *(("look here" if name in odd else "",) if odd else ()))
        for name, p, m in zip(names, predicted, measured, strict=True)
    )
    return Figure(
        key=key,
        svg=svg,
        alt=alt,
        caption=say.ph_caption(say.SQUARES_LIE_FAR if odd else ""),
        table=Table(columns=say.columns_of_ph(say.VERDICT if odd else ()), rows=rows),
    )


def _said(names: list[str], measured: list[float], predicted: list[float], odd: set[str]) -> str:
    if len(names) < FEWEST_BAKES:
        stands = say.too_few_to_say(len(names))
    else:
        stands = say.some_stand_out(len(odd), len(names)) if odd else say.none_stands_out(len(names))
    return say.ph_alt(
        say_fixed(min(measured), 1),
        say_fixed(max(measured), 1),
        say_fixed(min(predicted), 1),
        say_fixed(max(predicted), 1),
        stands,
    )


def draw_titration(
    curve: TitrationCurve,
    *,
    key: str,
    colours: bool = False,
    here_g: float | None = None,
    crumb_ph: float | None = None,
) -> Figure:
    """pH of batter and crumb as soda is added, with the neutral dose marked; ``colours`` adds the cabbage strip.

    ``here_g`` with ``crumb_ph`` marks the soda that is in it and where its crumb lands.
    """
    soda = [point.soda_g for point in curve.points]
    mixed = [point.ph_mixed for point in curve.points]
    baked = [point.ph_baked for point in curve.points]
    here = (here_g, crumb_ph) if here_g is not None and crumb_ph is not None and here_g <= soda[-1] else None
    low, high = span([*mixed, *baked, *([here[1]] if here else [])])
    with canvas(3.0) as (figure, (axes,)):
        if colours:
            _strip(axes, soda, mixed, low, high)
        sour = curve.neutral_g > 0
        if sour:
            axes.axvline(curve.neutral_g, color=SOFT, linewidth=0.9, linestyle=(0, (2, 2)), zorder=0)
        line(axes, soda, mixed, series=0)
        line(axes, soda, baked, series=1)
        axes.set(xlim=(soda[0], soda[-1] * 1.22), ylim=(low, high))
        if here:
            axes.plot([here[0]], [here[1]], marker="D", markersize=7, color=INK, linestyle="none", zorder=5)
            write(axes, here[0], here[1], say.HERE, ha="right", va="bottom", color=INK, fontsize=8.5)
        write(axes, soda[-1], mixed[-1], say.BATTER, ha="left", color=BLUE, fontsize=8.5)
        write(axes, soda[-1], baked[-1], say.CRUMB, ha="left", color=VERMILLION, fontsize=8.5)
        above = low + 0.07 * (high - low)
        if sour:
            write(axes, curve.neutral_g, above, say.ACID_USED_UP, ha="left", va="bottom", color=SOFT, fontsize=8)
        axes.set_xlabel(say.SODA_GRAMS, parse_math=False)
        axes.set_ylabel(say.PH, parse_math=False)
        stands = say.stands_here(say_fixed(here[0], 2), say_fixed(here[1], 1)) if here else ""
        alt = short_alt(
            say.titration_alt(stands, say_fixed(mixed[0], 1), say_fixed(mixed[-1], 1), say_fixed(baked[-1], 1))
            + (say.used_up_at(say_fixed(curve.neutral_g, 2)) if sour else say.NO_ACID)
        )
        svg = as_svg(figure, key=key, title=say.TITRATION_TITLE, description=alt)
    rows = tuple(
        (say_fixed(p.soda_g, 2), say_fixed(p.ph_mixed, 2), say_fixed(p.ph_baked, 2), say_fixed(p.free_ml, 0), p.colour)
        for p in curve.points
    )
    return Figure(
        key=key,
        svg=svg,
        alt=alt,
        caption=say.titration_caption(say.HERE_THE_SODA if here else ""),
        table=Table(columns=say.COLUMNS_OF_TITRATION, rows=rows),
    )


def _strip(axes, soda: list[float], mixed: list[float], low: float, high: float) -> None:  # type: ignore[no-untyped-def]
    """The colours red cabbage juice would take, along the lower edge."""
    height = 0.05 * (high - low)
    tints = {name: tint for _, name, tint in CABBAGE}
    for start, end, ph in zip(soda, soda[1:], mixed, strict=False):
        axes.fill_between([start, end], low, low + height, color=tints[cabbage_colour(ph)], linewidth=0)
