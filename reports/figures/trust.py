"""How wide is the scatter at each level, which bake moves which effect, and what shape has the scatter?

One picture for one question, each beside the sentence it supports.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.results import BakePoint, Check, ResponseResult
from analysis.words.finding_parts import say_term
from analysis.words.numbers import number_shown, say_fixed, say_level, say_list, say_number, say_share, say_signed
from analysis.words.pictures import trust as say
from reports.figures.checks import usable
from reports.figures.lettering import brief, row_names, sized, with_unit, wrapped
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.points import MOST_POINTS, offsets, thinned
from reports.figures.style import BLUE, RULE, SOFT, VERMILLION, canvas, scatter, span
from reports.figures.svg import as_svg

MOST_ROWS = 12
FEWEST_BAKES = 3


def draw_spread(result: ResponseResult, check: Check, *, key: str, sentence: str) -> Figure | None:
    """Residuals level by level (or treatment by treatment); None with more rows than can be read."""
    between = str(check.facts.get("between", "treatments"))
    held: dict[str, list[BakePoint]] = {}
    for point in usable(result):
        held.setdefault(_row_of(point, between), []).append(point)
    if not 2 <= len(held) <= MOST_ROWS or max(map(len, held.values())) < FEWEST_BAKES:
        return None
    names = sorted(held, key=_numbered) if between != "treatments" else list(held)
    widths = {name: _deviation(held[name]) for name in names}
    with canvas(0.75 + 0.42 * len(names)) as (figure, (axes,)):
        axes.axvline(0, color=SOFT, linewidth=0.8, zorder=0)
        left = [point.residual or 0.0 for points in held.values() for point in points]
        for row, name in enumerate(names):
            points = thinned(held[name], MOST_POINTS // len(held))
            across = [row + offset for offset in offsets(len(points), 0.16)]
            axes.axhline(row, color=RULE, linewidth=0.5, zorder=0)
            scatter(axes, [p.residual or 0.0 for p in points], across, colour=BLUE, marker="o", size=22, alpha=0.85)
        row_names(axes, list(range(len(names))), [wrapped(brief(name, 50)) for name in names])
        reach = max(map(abs, left))
        axes.set(xlim=span([-reach, reach]), ylim=(len(names) - 0.4, -0.6))
        axes.spines["left"].set_visible(False)
        axes.set_title(wrapped(_rows_are(result, between), width=60), loc="left", fontsize=9, color=SOFT)
        axes.set_xlabel(with_unit(say.RESIDUAL, result.response.unit), parse_math=False)
        alt = _spread_alt(result, widths)
        svg = as_svg(figure, key=key, title=say.spread_title(brief(result.response.name, 40), between), description=alt)
    unit = f" ({result.response.unit})" if result.response.unit else ""
    rows = tuple((name, str(len(held[name])), _sized(widths[name])) for name in names)
    table = Table(columns=say.columns_of_spread(between if between != "treatments" else say.TREATMENT, unit), rows=rows)
    return Figure(key=key, svg=svg, alt=alt, caption=sentence, table=table)


def _row_of(point: BakePoint, between: str) -> str:
    if between != "treatments" and between in point.settings:
        return say_level(point.settings[between])
    return say_list([say_level(level) for level in point.settings.values()])


def _numbered(name: str) -> float:
    """Amounts stand in their order; names stay as they came (a sort keeps them so)."""
    number = number_shown(name)
    return 0.0 if number is None else number


def _rows_are(result: ResponseResult, between: str) -> str:
    """What the names of the rows are levels of."""
    point = usable(result)[0]
    return between if between in point.settings else say_list(list(point.settings))


def _deviation(points: Sequence[BakePoint]) -> float | None:
    if len(points) < 2:
        return None
    left = [point.residual or 0.0 for point in points]
    middle = sum(left) / len(left)
    return float((sum((each - middle) ** 2 for each in left) / (len(left) - 1)) ** 0.5)


def _sized(value: float | None) -> str:
    return "–" if value is None else say_number(value)


def _spread_alt(result: ResponseResult, widths: Mapping[str, float | None]) -> str:
    known = {name: width for name, width in widths.items() if width is not None}
    if len(known) < 2:
        return short_alt(say.by_level_alt(brief(result.response.name)))
    widest, narrowest = max(known, key=lambda n: known[n]), min(known, key=lambda n: known[n])
    sizes = [sized(say_number(known[name]), result.response.unit) for name in (widest, narrowest)]
    return short_alt(
        say.spread_alt(brief(result.response.name, 30), brief(widest, 30), sizes[0], brief(narrowest, 30), sizes[1])
    )


def draw_influence(result: ResponseResult, check: Check, *, key: str, sentence: str) -> Figure | None:
    """A dot for each of the bakes that move an effect most, against the half width of its interval."""
    moves: Sequence[tuple[str, str, float, float]] = tuple(check.facts.get("moves", ()))[:MOST_ROWS]
    if len(moves) < FEWEST_BAKES:
        return None
    shares = [100 * share for *_, share in moves]
    with canvas(0.75 + 0.3 * len(moves)) as (figure, (axes,)):
        for row, share in enumerate(shares):
            axes.plot([0, share], [row, row], color=RULE, linewidth=1.0, zorder=1)
            beyond = share >= 100
            scatter(
                axes,
                [share],
                [row],
                colour=VERMILLION if beyond else BLUE,
                marker="s" if beyond else "o",
                size=30,
                alpha=1.0,
            )
        if max(shares) > 60:
            axes.axvline(100, color=SOFT, linewidth=0.9, zorder=0)
        row_names(axes, list(range(len(moves))), [brief(f"{bake}: {say_term(term)}", 28) for bake, term, *_ in moves])
        axes.set(xlim=(0, max(*shares, 20) * 1.08), ylim=(len(moves) - 0.4, -0.6))
        axes.spines["left"].set_visible(False)
        axes.set_xlabel(say.MOVE_AXIS, parse_math=False)
        bake, term, _, share = moves[0]
        alt = short_alt(say.moves_most(brief(bake, 16), brief(say_term(term), 40), say_share(round(share, 2))))
        title = say.influence_title(brief(result.response.name, 40))
        svg = as_svg(figure, key=key, title=title, description=alt)
    return Figure(key=key, svg=svg, alt=alt, caption=sentence, table=_moves(moves, check.facts, result))


def _moves(moves: Sequence[tuple[str, str, float, float]], facts: Mapping[str, Any], result: ResponseResult) -> Table:
    unit = f" ({result.response.unit})" if result.response.unit and not facts.get("scale") else ""
    where = say.scale_in_brackets(facts["scale"]) if facts.get("scale") else unit
    rows = tuple(
        # A move is read to the digits of the interval that it is a share of.
        (bake, say_term(term), say_signed(shift, abs(shift) / share if share else None), say_share(round(share, 2)))
        for bake, term, shift, share in moves
    )
    return Table(columns=say.columns_of_moves(where), rows=rows)


def draw_shape(result: ResponseResult, *, key: str, sentence: str) -> Figure | None:
    """Residuals from the smallest to the largest against where plain bell-shaped scatter would put them."""
    from scipy.special import ndtri

    points = sorted(usable(result), key=lambda point: point.residual or 0.0)
    left = [point.residual or 0.0 for point in points]
    if len(points) < FEWEST_BAKES or not left[-1] > left[0]:
        return None
    count = len(points)
    places = [float(ndtri((i + 0.625) / (count + 0.25))) for i in range(count)]
    with canvas(2.6) as (figure, (axes,)):
        kept = thinned(points)
        step = -(-count // max(len(kept), 1))
        scatter(axes, places[::step], left[::step], colour=BLUE, marker="o", size=24, alpha=0.9)
        axes.axhline(0, color=SOFT, linewidth=0.8, zorder=0)
        axes.set(xlim=span(places), ylim=span(left))
        axes.set_xlabel(say.PLACE_AXIS, parse_math=False)
        axes.set_ylabel(with_unit(say.RESIDUAL, result.response.unit), parse_math=False)
        ends = [sized(say_number(value), result.response.unit) for value in (left[0], left[-1])]
        alt = short_alt(
            say.shape_alt(
                brief(result.response.name), ends[0], brief(points[0].bake, 16), ends[1], brief(points[-1].bake, 16)
            )
        )
        svg = as_svg(figure, key=key, title=say.shape_title(brief(result.response.name, 40)), description=alt)
    rows = tuple(
        (point.bake, say_number(point.residual, left[-1] - left[0]), say_fixed(place, 2))
        for point, place in list(zip(points, places, strict=True))[:200]
    )
    unit = f" ({result.response.unit})" if result.response.unit else ""
    table = Table(columns=say.columns_of_shape(unit), rows=rows)
    return Figure(key=key, svg=svg, alt=alt, caption=sentence, table=table)
