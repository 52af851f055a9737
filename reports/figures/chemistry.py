"""Does the measured pH move with the predicted one? And how does a titration run?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.leavening.curve import CABBAGE, TitrationCurve, cabbage_colour
from analysis.leavening.measured import FEWEST_BAKES, odd_ph
from analysis.leavening.runs import PREDICTED_PH
from reports.figures.lettering import write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BLUE, SOFT, VERMILLION, canvas, line, scatter, span
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
            write(axes, predicted[i], measured[i], f"  bake {names[i]}", ha="left", color=SOFT, fontsize=8)
        axes.set(xlim=span(predicted), ylim=span(measured))
        axes.set_xlabel("predicted crumb pH", parse_math=False)
        axes.set_ylabel("measured pH", parse_math=False)
        alt = short_alt(_said(names, measured, predicted, odd))
        svg = as_svg(figure, key=key, title="Measured against predicted pH", description=alt)
    rows = tuple(
        (name, f"{p:.2f}", f"{m:.2f}", *(("look here" if name in odd else "",) if odd else ()))
        for name, p, m in zip(names, predicted, measured, strict=True)
    )
    return Figure(
        key=key,
        svg=svg,
        alt=alt,
        caption=f"Each mark is a bake.{' Squares lie far from where their fellows would put them.' if odd else ''}",
        table=Table(columns=("bake", "predicted", "measured", *(("verdict",) if odd else ())), rows=rows),
    )


def _said(names: list[str], measured: list[float], predicted: list[float], odd: set[str]) -> str:
    if len(names) < FEWEST_BAKES:
        stands = f"{len(names)} bakes, too few to say whether one stands out"
    else:
        stands = f"{len(odd)} of {len(names)} bakes stand out" if odd else f"none of {len(names)} bakes stands out"
    return (
        f"Measured pH {min(measured):.1f} to {max(measured):.1f} against predicted "
        f"{min(predicted):.1f} to {max(predicted):.1f}: {stands}."
    )


def draw_titration(curve: TitrationCurve, *, key: str, colours: bool = False) -> Figure:
    """pH of batter and crumb as soda is added, with the neutral dose marked; ``colours`` adds the cabbage strip."""
    soda = [point.soda_g for point in curve.points]
    mixed = [point.ph_mixed for point in curve.points]
    baked = [point.ph_baked for point in curve.points]
    low, high = span([*mixed, *baked])
    with canvas(3.0) as (figure, (axes,)):
        if colours:
            _strip(axes, soda, mixed, low, high)
        axes.axvline(curve.neutral_g, color=SOFT, linewidth=0.9, linestyle=(0, (2, 2)), zorder=0)
        line(axes, soda, mixed, series=0)
        line(axes, soda, baked, series=1)
        axes.set(xlim=(soda[0], soda[-1] * 1.22), ylim=(low, high))
        write(axes, soda[-1], mixed[-1], "  batter", ha="left", color=BLUE, fontsize=8.5)
        write(axes, soda[-1], baked[-1], "  crumb", ha="left", color=VERMILLION, fontsize=8.5)
        above = low + 0.07 * (high - low)
        write(axes, curve.neutral_g, above, " acid used up", ha="left", va="bottom", color=SOFT, fontsize=8)
        axes.set_xlabel("soda (g)", parse_math=False)
        axes.set_ylabel("pH", parse_math=False)
        alt = short_alt(
            f"pH as soda is added: batter {mixed[0]:.1f} to {mixed[-1]:.1f}, crumb to {baked[-1]:.1f}; "
            f"the acid is used up at {curve.neutral_g:.2f} g."
        )
        svg = as_svg(figure, key=key, title="pH against soda", description=alt)
    rows = tuple(
        (f"{p.soda_g:.2f}", f"{p.ph_mixed:.2f}", f"{p.ph_baked:.2f}", f"{p.free_ml:.0f}", p.colour)
        for p in curve.points
    )
    return Figure(
        key=key,
        svg=svg,
        alt=alt,
        caption="Batter: all gas kept in. Crumb: most of the gas gone. A model of the watery part.",
        table=Table(columns=("soda (g)", "pH batter", "pH crumb", "free gas (mL)", "red cabbage"), rows=rows),
    )


def _strip(axes, soda: list[float], mixed: list[float], low: float, high: float) -> None:  # type: ignore[no-untyped-def]
    """The colours red cabbage juice would take, along the lower edge."""
    height = 0.05 * (high - low)
    tints = {name: tint for _, name, tint in CABBAGE}
    for start, end, ph in zip(soda, soda[1:], mixed, strict=False):
        axes.fill_between([start, end], low, low + height, color=tints[cabbage_colour(ph)], linewidth=0)
