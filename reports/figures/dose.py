"""How does the response follow the dose, and which amounts are as good as the best?

The curves with the bakes, their interval band, the recommended range shaded and the best
dose marked with its interval. Up to four curves share one picture; more get a small
picture each, on common axes.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.dose_results import Curve, DosePart
from analysis.results import BakePoint, ResponseResult
from analysis.words.numbers import half_width, say_interval, say_level, say_number, say_share
from analysis.words.pictures import doses as say
from reports.figures.lettering import brief, sized, with_unit, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.points import adjusted, blocked, same_level, thinned
from reports.figures.style import INK, LINES, MARKERS, SOFT, canvas, line, scatter, span, spread
from reports.figures.svg import as_svg

MOST_TOGETHER = 4
MOST_PANELS = 12


def draw_dose(result: ResponseResult, *, key: str, dose_unit: str = "", confidence: float = 0.95) -> Figure | None:
    """Every curve of the dose part; None when there is none or nothing to draw."""
    part = result.family.dose
    curves = [curve for curve in part.curves if curve.points] if part else []
    if part is None or not curves:
        return None
    apart = len(curves) > MOST_TOGETHER
    shown = curves[:MOST_PANELS]
    rows = -(-len(shown) // 2) if apart else 1
    with canvas(min(8.0, 1.7 * rows + 0.6) if apart else 3.7, rows=rows, columns=2 if apart else 1, share=apart) as (
        figure,
        axes,
    ):
        limits = _limits(result, part, shown)
        for series, curve in enumerate(shown):
            panel = axes[series] if apart else axes[0]
            _draw_curve(
                panel, result, part, curve, 0 if apart else series, single=apart or len(shown) == 1, limits=limits
            )
            if apart:
                panel.set_title(wrapped(curve.level or "", width=24, lines=1), fontsize=9, parse_math=False, loc="left")
        for panel in axes[len(shown) if apart else 1 :]:
            panel.set_visible(False)
        for panel in axes:
            panel.set(xlim=limits[0], ylim=limits[1])
        if not apart and len(shown) > 1:
            _name_ends(axes[0], shown, limits)
        figure.supylabel(
            with_unit(brief(result.response.name, 40), result.response.unit), fontsize=9, color=SOFT, parse_math=False
        )
        figure.supxlabel(with_unit(brief(part.dose, 40), dose_unit), fontsize=9, color=SOFT, parse_math=False)
        alt = _alt(result, part, shown, dose_unit, confidence)
        svg = as_svg(
            figure,
            key=key,
            title=say.dose_title(brief(result.response.name, 40), brief(part.dose, 40)),
            description=alt,
        )
    caption = _caption(result, part, curves, confidence)
    return Figure(
        key=key, svg=svg, alt=alt, caption=caption, table=_table(part, curves, result.response.unit, dose_unit)
    )


def _bakes(result: ResponseResult, part: DosePart, curve: Curve) -> list[tuple[float, float]]:
    """(dose, value) of the curve's bakes, adjusted to the average block when there are blocks."""
    chosen: list[tuple[float, float]] = []
    for point in thinned(result.family.points):
        setting = point.settings.get(part.dose)
        if not isinstance(setting, (int, float)):
            continue
        if curve.level is None or part.by is None or same_level(point.settings.get(part.by), curve.level):
            chosen.append((float(setting), _value(result, point, curve, part.dose)))
    return chosen


def _value(result: ResponseResult, point: BakePoint, curve: Curve, dose: str) -> float:
    shown = adjusted(curve, point, dose) if blocked(result) else None
    return point.observed if shown is None else shown


def _limits(
    result: ResponseResult, part: DosePart, curves: Sequence[Curve]
) -> tuple[tuple[float, float], tuple[float, float]]:
    bakes = [bake for curve in curves for bake in _bakes(result, part, curve)]
    doses = [p.dose for curve in curves for p in curve.points] + [x for x, _ in bakes]
    values = [v for curve in curves for p in curve.points for v in (p.mean, p.low, p.high) if v is not None]
    observed = [y for _, y in bakes]
    # A band that runs off where there are no bakes must not press the bakes flat.
    low, high = span([*observed, *(p.mean for curve in curves for p in curve.points)], share=0.35)
    bottom, top = span([max(min(v, high), low) for v in [*values, *observed]])
    strip = 0.05 + 0.04 * (len(curves) if len(curves) <= MOST_TOGETHER else 1)  # room for the bars above all curves
    return span(doses, share=0.04), (bottom, top + (top - bottom) * strip)


def _draw_curve(axes, result, part, curve, series, *, single, limits) -> None:  # type: ignore[no-untyped-def]
    colour, marker = LINES[series % len(LINES)], MARKERS[series % len(MARKERS)]
    banded = [p for p in curve.points if p.low is not None and p.high is not None]
    if banded:
        axes.fill_between(
            [p.dose for p in banded],
            [p.low for p in banded],
            [p.high for p in banded],
            color=colour,
            alpha=0.14,
            linewidth=0,
            zorder=1,
        )
    line(axes, [p.dose for p in curve.points], [p.mean for p in curve.points], series=series)
    bakes = _bakes(result, part, curve)
    if bakes:
        scatter(axes, [x for x, _ in bakes], [y for _, y in bakes], colour=colour, marker=marker)
    if single and curve.recommended is not None:
        _shade(axes, curve)
    if curve.optimum is not None or curve.recommended is not None:
        _mark_best(axes, curve, colour, marker, series, limits)


def _shade(axes, curve: Curve) -> None:  # type: ignore[no-untyped-def]
    good = curve.recommended
    if good is None:
        return
    axes.axvspan(good.dose, max(good.as_good_to, good.dose), facecolor=SOFT, alpha=0.13, linewidth=0, zorder=0)
    for edge in sorted({good.dose, good.as_good_to}):
        axes.axvline(edge, color=SOFT, linewidth=0.8, linestyle=(0, (4, 3)), zorder=1)
    write(
        axes,
        good.dose,
        0.02,
        say.LABEL_AS_GOOD,
        transform=axes.get_xaxis_transform(),
        va="bottom",
        ha="left",
        color=SOFT,
        fontsize=8,
    )


def _mark_best(axes, curve, colour, marker, place, limits) -> None:  # type: ignore[no-untyped-def]
    """The best dose on its curve, and above all curves its interval over the doses as good as the best."""
    (left, right), (low, high) = limits
    at = high - (high - low) * (0.02 + 0.035 * place)
    good, best = curve.recommended, curve.optimum
    if good is not None:
        axes.plot([good.dose, max(good.as_good_to, good.dose)], [at, at], color=colour, linewidth=1, zorder=4)
    if best is None:
        return
    if best.low is not None and best.high is not None:
        ends = [max(best.low, left), min(best.high, right)]
        axes.plot(ends, [at, at], color=colour, linewidth=3.5, solid_capstyle="butt", zorder=4)
    ringed = {"markeredgecolor": INK, "markeredgewidth": 1.2, "linestyle": "none"}
    axes.plot([best.dose], [best.response], marker=marker, markersize=8.5, color=colour, zorder=6, **ringed)
    axes.plot([best.dose], [at], marker=marker, markersize=5, color=colour, linestyle="none", zorder=5)


def _name_ends(axes, curves: Sequence[Curve], limits) -> None:  # type: ignore[no-untyped-def]
    low, high = limits[1]
    ends = [curve.points[-1].mean for curve in curves]
    for series, (curve, place) in enumerate(zip(curves, spread(ends, (high - low) * 0.11, low, high), strict=True)):
        write(
            axes,
            1.01,
            place,
            wrapped(curve.level or "", width=13),
            transform=axes.get_yaxis_transform(),
            ha="left",
            multialignment="left",
            color=LINES[series % len(LINES)],
        )


def _alt(result: ResponseResult, part: DosePart, curves: Sequence[Curve], unit: str, confidence: float) -> str:
    curve = curves[0]
    whose = say.of_curve(brief(curve.level, 20)) if curve.level and len(curves) > 1 else ""
    more = say.of_so_many(len(curves)) if len(curves) > 1 else ""
    name, dose = brief(result.response.name, 24), brief(part.dose, 20)
    if curve.optimum is not None:
        best = curve.optimum
        at = sized(say_number(best.dose, half_width(best.low, best.high)), unit)
        said = say_interval(best.low, best.high, confidence)
        return short_alt(say.best_alt(name, at, dose, whose, said, more))
    first, last = curve.points[0], curve.points[-1]
    step = half_width(last.low, last.high)
    end = sized(say_number(last.mean, step), result.response.unit)
    return short_alt(say.runs_alt(name, say_number(first.mean, step), end, dose, whose, more))


def _caption(result: ResponseResult, part: DosePart, curves: Sequence[Curve], confidence: float) -> str:
    marks = say.MARKS_ADJUSTED if blocked(result) else say.MARKS_AS_READ
    said = [say.curves_caption(part.shape, say_share(confidence), marks)]
    if any(curve.optimum is not None for curve in curves):
        said.append(say.MARK_IS_BEST)
    if any(curve.recommended is not None for curve in curves):
        where = say.THIN_BAR if 1 < len(curves) <= MOST_TOGETHER else "Shaded"
        within = say.WITHIN_WHAT_MATTERS if result.response.matters else say.AS_FAR_AS_TOLD
        said.append(say.doses_as_good(where, within))
    elif part.shape == "flat":
        said.append(say.NONE_RECOMMENDED)
    if len(curves) > MOST_PANELS:
        said.append(say.panels_drawn(MOST_PANELS, len(curves)))
    return " ".join(said)


def _table(part: DosePart, curves: Sequence[Curve], unit: str, dose_unit: str) -> Table:
    of_dose, of_response = (f" ({u})" if u else "" for u in (dose_unit, unit))
    rows = []
    for curve in curves:
        best, good = curve.optimum, curve.recommended
        step = half_width(best.low, best.high) if best else None
        doses = [
            say_number(v, step) if v is not None else "–"
            for v in ((best.dose, best.low, best.high) if best else (None,) * 3)
        ]
        if best is None:
            doses[0] = say.NONE_SEEN
        at_best = say_number(best.response, half_width(best.response_low, best.response_high)) if best else "–"
        smallest = say_number(good.dose, half_width(good.low, good.high)) if good else say.NONE_SEEN
        rows.append(
            (
                *([say_level(curve.level or "–")] if part.by else []),
                *doses,
                at_best,
                smallest,
                say_number(good.as_good_to) if good else "–",
            )
        )
    columns = say.columns_of_doses(of_dose, of_response)
    return Table(columns=((part.by, *columns) if part.by else columns), rows=tuple(rows))
