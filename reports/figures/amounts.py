"""Which amounts suit every response at once?

One lane for each response (for each of its curves where they ask for different amounts) over one
axis of amounts: the range that does as well as the best, the best dose with its interval, and
across all lanes the range that they share.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.dose_results import Curve, DosePart
from analysis.results import ResponseResult
from analysis.words.amounts import common_range, range_for_all, say_range
from analysis.words.numbers import say_dose, say_share
from analysis.words.pictures import doses as say
from reports.figures.lettering import brief, row_names, sized, with_unit, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BAND, BLUE, GREEN, INK, SOFT, canvas, interval, span
from reports.figures.svg import as_svg

MOST_LANES = 12


@dataclass(frozen=True, kw_only=True)
class Lane:
    """``good`` is the range as good as the best; ``best`` None where no optimum was seen."""

    name: str
    good: tuple[float, float]
    best: float | None
    low: float | None
    high: float | None
    response: float
    response_ends: tuple[float | None, float | None]
    unit: str


def lanes_of(result: ResponseResult) -> list[Lane]:
    """The lanes of one response: one where its curves agree, else one for each."""
    part = result.family.dose
    curves = [curve for curve in part.curves if curve.recommended] if part else []
    if not curves:
        return []
    common = common_range(result)
    if common is not None and len(curves) > 1:
        return [_together(result, curves, common)]
    return [_lane(result, curve) for curve in curves]


def _lane(result: ResponseResult, curve: Curve) -> Lane:
    good, best, name = curve.recommended, curve.optimum, result.response.name
    assert good is not None
    return Lane(
        name=name if curve.level is None else f"{name}, {curve.level}",
        good=(good.dose, max(good.as_good_to, good.dose)),
        best=best.dose if best else None,
        low=best.low if best else good.low,
        high=best.high if best else good.high,
        response=best.response if best else good.response,
        response_ends=(best.response_low, best.response_high) if best else (None, None),
        unit=result.response.unit,
    )


def _together(result: ResponseResult, curves: Sequence[Curve], common: tuple[float, float]) -> Lane:
    """Curves that ask for the same amounts: the middle of their bests, from the first limit to the last."""
    lanes = [_lane(result, curve) for curve in curves]
    bests = [lane.best for lane in lanes if lane.best is not None]
    lows, highs = (
        [end for end in ends if end is not None] for ends in zip(*((o.low, o.high) for o in lanes), strict=True)
    )
    whole = len(lows) == len(highs) == len(lanes)
    return Lane(
        name=result.response.name,
        good=common,
        best=sum(bests) / len(bests) if len(bests) == len(lanes) else None,
        low=min(lows) if whole else None,
        high=max(highs) if whole else None,
        response=sum(lane.response for lane in lanes) / len(lanes),
        response_ends=(None, None),
        unit=result.response.unit,
    )


def draw_amounts(
    results: Sequence[ResponseResult], *, key: str, dose_unit: str = "", confidence: float = 0.95
) -> Figure | None:
    """The lanes of ``results``, which follow one dose; None when there is nothing to recommend."""
    lanes = [lane for result in results for lane in lanes_of(result)]
    part = results[0].family.dose if results else None
    if part is None or not lanes:
        return None
    shown, shared = lanes[:MOST_LANES], range_for_all(results)
    baked = [
        point.dose for result in results if result.family.dose for c in result.family.dose.curves for point in c.points
    ]
    with canvas(0.95 + 0.46 * len(shown)) as (figure, (axes,)):
        if shared is not None:
            axes.axvspan(*shared, color=BAND, linewidth=0, zorder=0)
            middle = sum(shared) / 2
            said = sized(say_range(shared, part), dose_unit)
            write(axes, middle, -0.72, said, ha="center", fontsize=9, fontweight="bold", color=INK)
        for row, lane in enumerate(shown):
            _draw_lane(axes, row, lane)
        row_names(axes, list(range(len(shown))), [wrapped(lane.name, width=18) for lane in shown])
        axes.set(xlim=span([*baked, *(end for lane in shown for end in lane.good)]), ylim=(len(shown) - 0.45, -1.1))
        axes.spines["left"].set_visible(False)
        axes.set_xlabel(with_unit(brief(part.dose, 40), dose_unit), parse_math=False)
        alt = short_alt(_said(shared, shown, part, dose_unit))
        svg = as_svg(figure, key=key, title=say.amounts_title(brief(part.dose, 60)), description=alt)
    caption = _caption(shown, shared is not None and len(shown) > 1, confidence)
    return Figure(key=key, svg=svg, alt=alt, caption=caption, table=_table(lanes, part, dose_unit))


def _draw_lane(axes, row: int, lane: Lane) -> None:  # type: ignore[no-untyped-def]
    low, high = lane.good
    axes.barh(row, high - low, left=low, height=0.46, facecolor="none", edgecolor=GREEN, linewidth=1.3, zorder=2)
    if lane.best is not None:
        interval(axes, lane.best, row, lane.low, lane.high, colour=BLUE, marker="o", level=True)
    elif lane.low is not None and lane.high is not None:  # no best was seen: how surely the least that will do is known
        interval(axes, low, row, lane.low, lane.high, colour=BLUE, marker="D", level=True, hollow=True)
    said = sized(say_dose(lane.response, *lane.response_ends), lane.unit)
    write(axes, 1.02, row, said, transform=axes.get_yaxis_transform(), ha="left", color=SOFT, fontsize=8)


def _caption(lanes: Sequence[Lane], shared: bool, confidence: float) -> str:
    interval_words = say.an_interval(say_share(confidence))
    said = [say.RANGE_SHADED] if shared else []
    said.append(say.BAR_AS_GOOD)
    if any(lane.best is not None for lane in lanes):
        said.append(say.dot_is_best(interval_words))
    if any(lane.best is None for lane in lanes):
        said.append(say.diamond_is_least(interval_words))
    return " ".join([*said, say.AT_THE_RIGHT])


def _said(shared: tuple[float, float] | None, lanes: Sequence[Lane], part: DosePart, unit: str) -> str:
    if shared is not None and len(lanes) > 1:
        return say.suits_all(sized(say_range(shared, part), unit), brief(part.dose), len(lanes))
    one = lanes[0]
    return say.does_as_well(brief(one.name), sized(say_range(one.good, part), unit), brief(part.dose))


def _table(lanes: Sequence[Lane], part: DosePart, unit: str) -> Table:
    named = f" ({unit})" if unit else ""
    rows = []
    for lane in lanes:
        ends = ("–" if end is None else say_dose(end, lane.low, lane.high) for end in (lane.low, lane.high))
        best = "–" if lane.best is None else say_dose(lane.best, lane.low, lane.high)
        gives = sized(say_dose(lane.response, *lane.response_ends), lane.unit)
        rows.append((lane.name, say_range(lane.good, part), best, *ends, gives))
    columns = say.columns_of_amounts(named)
    return Table(columns=columns, rows=tuple(rows))
