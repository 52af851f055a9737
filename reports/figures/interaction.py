"""Does the effect of one variable depend on another?

One line for each level of the second variable, with intervals, over the raw bakes, and
its name at its end. Parallel lines would mean that it does not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analysis.estimates import Mean
from analysis.results import BakePoint, Finding, ResponseResult
from analysis.words.numbers import half_width, say_interval, say_level, say_number, say_share, say_signed
from analysis.words.pictures import effects as say
from reports.figures.lettering import brief, column_names, sized, with_unit, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.points import as_number, offsets, same_level, thinned
from reports.figures.style import LINES, MARKERS, SOFT, canvas, interval, line, scatter, span, spread
from reports.figures.svg import as_svg

MOST_LINES = 5  # as many as there are colours, marks and dashes


@dataclass(frozen=True, kw_only=True)
class Cells:
    """Estimated means of two variables: ``lines`` maps each level of ``by`` to its means along ``along``."""

    along: str
    by: str
    lines: Mapping[str, Sequence[Mean]]

    @property
    def levels(self) -> list[str]:
        return list(dict.fromkeys(mean.level for means in self.lines.values() for mean in means))

    @property
    def places(self) -> dict[str, float]:
        """Where each level stands along the axis: numbers where they are, words evenly."""
        numbers = [as_number(level) for level in self.levels]
        if any(number is None for number in numbers):
            return {level: float(i) for i, level in enumerate(self.levels)}
        return {level: float(number or 0.0) for level, number in zip(self.levels, numbers, strict=True)}


def cells_of(result: ResponseResult, variables: Sequence[str]) -> Cells | None:
    """The table of cell means of two variables; None when the model gives none."""
    lines: dict[str, list[Mean]] = {}
    along = by = ""
    for mean in result.family.means:
        if len(mean.at) == 1 and {mean.factor, *mean.at} == set(variables):
            along, (by, level) = mean.factor, next(iter(mean.at.items()))
            lines.setdefault(level, []).append(mean)
    return Cells(along=along, by=by, lines=lines) if lines else None


def draw_interaction(
    result: ResponseResult, finding: Finding, *, key: str, units: Mapping[str, str], confidence: float = 0.95
) -> Figure | None:
    """The cells of an interaction between two variables; None when the model gives no cell means."""
    cells = cells_of(result, finding.variables)
    if cells is None:
        return None
    response = result.response
    drawn = dict(list(cells.lines.items())[:MOST_LINES])
    with canvas(3.5) as (figure, (axes,)):
        places = cells.places
        step = _step(list(places.values()))
        reach: list[float] = []
        for series, (level, means) in enumerate(drawn.items()):
            shift = (series - (len(drawn) - 1) / 2) * step * 0.09
            reach += _draw_line(axes, series, means, places, shift)
            reach += _draw_bakes(axes, series, _bakes(result, cells, level), cells, shift, step)
        low, high = span(reach)
        right = max(places.values())
        axes.set(ylim=(low, high), xlim=(min(places.values()) - step * 0.35, right + step * 0.35))
        _name_ends(axes, drawn, (low, high), cells.by, units.get(cells.by, ""))
        if all(as_number(level) is not None for level in cells.levels) and len(cells.levels) > 8:
            pass  # the axis numbers itself
        else:
            column_names(axes, list(places.values()), list(places))
        axes.set_ylabel(with_unit(brief(response.name, 40), response.unit), parse_math=False)
        axes.set_xlabel(
            with_unit(brief(cells.along, 40), units.get(cells.along, "")), parse_math=False, labelpad=_pad(cells)
        )
        alt = _alt(result, finding, confidence)
        title = say.interaction_title(brief(response.name, 40), brief(cells.along, 30), brief(cells.by, 30))
        svg = as_svg(figure, key=key, title=title, description=alt)
    return Figure(key=key, svg=svg, alt=alt, caption=_caption(cells, confidence), table=_table(cells, response.unit))


def _step(places: Sequence[float]) -> float:
    gaps = [b - a for a, b in zip(sorted(places), sorted(places)[1:], strict=False) if b > a]
    return min(gaps) if gaps else 1.0


def _pad(cells: Cells) -> float:
    """Room below the axis for level names, in points."""
    lines = max(
        wrapped(level, width=max(6, 44 // min(len(cells.levels), 8)), lines=3).count("\n") for level in cells.levels
    )
    return 20.0 + 10.0 * lines


def _draw_line(axes, series, means, places, shift) -> list[float]:  # type: ignore[no-untyped-def]
    colour, marker = LINES[series % len(LINES)], MARKERS[series % len(MARKERS)]
    xs, ys = [places[mean.level] + shift for mean in means], [mean.mean for mean in means]
    line(axes, xs, ys, series=series)
    for x, mean in zip(xs, means, strict=True):
        interval(axes, x, mean.mean, mean.low, mean.high, colour=colour, marker=marker)
    return [v for mean in means for v in (mean.low, mean.high, mean.mean) if v is not None]


def _bakes(result: ResponseResult, cells: Cells, level: str) -> list[BakePoint]:
    return [p for p in thinned(result.family.points) if same_level(p.settings.get(cells.by), level)]


def _draw_bakes(axes, series, bakes, cells, shift, step) -> list[float]:  # type: ignore[no-untyped-def]
    colour, marker = LINES[series % len(LINES)], MARKERS[series % len(MARKERS)]
    xs, ys = [], []
    for bake, off in zip(bakes, offsets(len(bakes), step * 0.025), strict=True):
        at = next(
            (place for level, place in cells.places.items() if same_level(bake.settings.get(cells.along), level)), None
        )
        if at is not None:
            xs.append(at + shift + step * 0.04 + off)
            ys.append(bake.observed)
    if xs:
        scatter(axes, xs, ys, colour=colour, marker=marker, size=14)
    return ys


def _name_ends(  # type: ignore[no-untyped-def]
    axes, drawn: Mapping[str, Sequence[Mean]], limits: tuple[float, float], by: str, unit: str
) -> None:
    """Each line's level at its end; above bare numbers stands what they are amounts of."""
    low, high = limits
    bare = all(as_number(level) is not None for level in drawn)
    gap = (high - low) * (0.08 if bare else 0.11)
    head = wrapped(by, width=13) if bare else ""
    ends = [means[-1].mean for means in drawn.values()]
    places = spread(ends, gap, low, high - gap * len(head.split("\n")) if head else high)
    if head:
        looks = {"ha": "left", "va": "bottom", "multialignment": "left", "color": SOFT}
        write(axes, 1.01, max(places) + gap / 2, head, transform=axes.get_yaxis_transform(), **looks)
    for series, (level, place) in enumerate(zip(drawn, places, strict=True)):
        write(
            axes,
            1.01,
            place,
            wrapped(level, width=13) if as_number(level) is None else sized(level, unit),
            transform=axes.get_yaxis_transform(),
            ha="left",
            multialignment="left",
            color=LINES[series % len(LINES)],
        )


def _alt(result: ResponseResult, finding: Finding, confidence: float) -> str:
    size = sized(say_signed(finding.size or 0.0, half_width(finding.low, finding.high)), result.response.unit)
    names = say.WITH.join(brief(name, 24) for name in finding.variables)
    said = say_interval(finding.low, finding.high, confidence)
    return short_alt(say.interaction_alt(brief(result.response.name, 24), names, size, said))


def _caption(cells: Cells, confidence: float) -> str:
    known = any(mean.low is not None for means in cells.lines.values() for mean in means)
    intervals = say.with_intervals(say_share(confidence)) if known else ""
    said = say.interaction_caption(intervals, cells.by)
    count = len(cells.lines)
    return say.lines_drawn(said, MOST_LINES, count) if count > MOST_LINES else said


def _table(cells: Cells, unit: str) -> Table:
    shown = f" ({unit})" if unit else ""
    rows = []
    for level, means in cells.lines.items():
        for mean in means:
            step = half_width(mean.low, mean.high)
            ends = [say_number(end, step) if end is not None else "–" for end in (mean.low, mean.high)]
            rows.append((say_level(level), say_level(mean.level), say_number(mean.mean, step), *ends))
    return Table(
        columns=(cells.by, cells.along, say.estimated_mean(shown), say.low_of(shown), say.high_of(shown)),
        rows=tuple(rows),
    )
