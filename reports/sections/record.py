"""How was it made, which numbers went in, and where do they come from?"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from analysis.results import Analysis, BakePoint, ResponseResult
from analysis.words import headings as say
from analysis.words import say_count, say_left_out, say_level, say_number
from analysis.words.numbers import CELSIUS, as_written, say_list, with_warmth
from analysis.words.pages import between
from reports.figures.picture import Table
from reports.figures.points import one_in
from reports.html import plain
from reports.sections.blocks import Facts, Grid, Section, Words

MOST_ROWS = 1000  # as many as anyone scrolls through; an export has them all
MOST_LEVELS = 24
SAID_OUT = 8  # rows left out that the sentence names by itself


def made_section(analysis: Analysis, plan: Mapping[str, Any] | None) -> Section | None:
    """The plan as it was laid out: kind, runs, blocks, replicates, seed, formula; None without one."""
    pairs = [(plain(say.fact_named(str(name))), _value(value)) for name, value in (plan or {}).items()]
    factors = Table(
        columns=say.FACTOR_COLUMNS,
        rows=tuple(
            (f.name, f.kind, f.unit or "–", _listed(f.levels) or _baked(analysis, f.name, f.unit))
            for f in analysis.question.factors
        ),
    )
    known = tuple((name, value) for name, value in pairs if value)
    blocks: list[Facts | Grid] = [Facts(pairs=known)] if known else []
    if factors.rows:
        blocks.append(Grid(caption=say.WHAT_WAS_CHANGED, table=factors))
    return Section(key="made", title=say.HOW_MADE, blocks=blocks) if blocks else None


def _warm(levels: str, unit: str) -> str:
    """Temperatures in °F behind them where that is wished for; the unit stands in a column of its own."""
    return with_warmth(levels, unit).replace(f" {CELSIUS}", "", 1) if levels and unit.strip() == CELSIUS else levels


def _listed(levels: Sequence[str]) -> str:
    more = len(levels) - MOST_LEVELS
    return ", ".join([*levels[:MOST_LEVELS], *([say.and_so_many_more(more)] if more > 0 else [])])


def _value(value: Any) -> str:
    """A plan's value as words: lists with commas, mappings as name and value."""
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return say_level(value)
    if isinstance(value, Mapping):
        return say_list([f"{plain(str(k))} {_value(v)}" for k, v in value.items()])
    if isinstance(value, (list, tuple)):
        return say_list([_value(v) for v in value])
    return plain(str(value))


def _baked(analysis: Analysis, factor: str, unit: str) -> str:
    """The levels that were baked, in rising order; the ends alone when there are many."""
    points = analysis.responses[0].family.points if analysis.responses else ()
    amounts = sorted({v for p in points if isinstance(v := p.settings.get(factor), (int, float))})
    if len(amounts) > 8:
        return say.levels_between(_warm(between(say_level(amounts[0]), say_level(amounts[-1])), unit), len(amounts))
    return _warm(say_list([say_level(float(v)) for v in amounts]), unit) or "–"


def data_section(analysis: Analysis) -> Section:
    """Every bake with its settings, its value and what the model made of it."""
    bakes: dict[str, BakePoint] = {}
    values: dict[str, dict[str, BakePoint]] = {}
    for result in analysis.responses:
        for point in result.family.points:
            bakes.setdefault(point.bake, point)
            values.setdefault(point.bake, {})[result.response.name] = point
    ordered = sorted(bakes.values(), key=lambda point: (point.order, point.bake))
    factors = [f.name for f in analysis.question.factors if any(f.name in p.settings for p in ordered)]
    blocked = any(point.block is not None for point in ordered)
    columns = [say.BAKE, say.ORDER, *([say.BLOCK] if blocked else []), *factors]
    for result in analysis.responses:
        unit = f" ({result.response.unit})" if result.response.unit else ""
        columns += [f"{result.response.name}{unit}", "fitted", "residual"]
    decimals = {result.response.name: _decimals(result) for result in analysis.responses}
    rows = [
        (
            point.bake,
            str(point.order),
            *([point.block or "–"] if blocked else []),
            *(say_level(point.settings[f]) if f in point.settings else "–" for f in factors),
            *(
                cell
                for result in analysis.responses
                for cell in _cells(values[point.bake].get(result.response.name), result, decimals[result.response.name])
            ),
        )
        for point in ordered[:MOST_ROWS]
    ]
    blocks: list[Words | Grid] = []
    if (drawn := one_in(len(ordered))) > 1:
        said = say.one_in_drawn(drawn)
        blocks.append(Words(text=said))
    if len(ordered) > MOST_ROWS:
        blocks.append(Words(text=say.first_of_bakes(MOST_ROWS, len(ordered))))
    if rows:
        blocks.append(
            Grid(
                caption=say.as_analysed(say_count(len(ordered), "bake")),
                table=Table(columns=tuple(columns), rows=tuple(rows)),
            )
        )
    else:
        blocks.append(Words(text=say.NO_BAKE))
    return Section(key="data", title=say.THE_DATA, blocks=blocks)


def _cells(point: BakePoint | None, result: ResponseResult, decimals: int) -> tuple[str, str, str]:
    """The value as it was read; fitted value and residual with the digits that the scatter carries."""
    if point is None:
        return "–", "–", "–"
    scatter = result.family.residual.sd if result.family.residual else None
    if result.family.model.transform:  # whose standard deviation is not in the response's unit
        left = sorted(abs(each.residual) for each in result.family.points if each.residual is not None)
        scatter = left[len(left) // 2] if left else None
    if not scatter or scatter < 1e-9 * abs(point.observed):  # nothing but rounding is left over
        scatter = 10.0**-decimals
    fitted, residual = ("–" if v is None else say_number(v, scatter) for v in (point.fitted, point.residual))
    return as_written(f"{point.observed:.{decimals}f}"), fitted, residual


def _decimals(result: ResponseResult) -> int:
    """Decimals that show every value as it was read, up to three."""
    values = [point.observed for point in result.family.points]
    return next((d for d in range(3) if all(abs(v - round(v, d)) < 1e-9 * max(abs(v), 1) for v in values)), 3)


def facts_section(provenance: Mapping[str, str], *, title: str = say.WHERE_FROM) -> Section:
    """Where a page comes from that rests on no analysis of a trial: its facts as they are, without those left open."""
    pairs = tuple((name.replace("_", " "), plain(value)) for name, value in provenance.items() if value)
    return Section(key="provenance", title=title, blocks=[Facts(pairs=pairs, exact=True)])


def provenance_section(analysis: Analysis, provenance: Mapping[str, str]) -> Section:
    """Where it comes from and how to make it again."""
    counted = say.rows_used(analysis.rows_used, say_count(analysis.rows_read, "row"))
    blocks: list[Words | Facts | Grid] = [Words(text=f"{counted} {say_left_out(analysis.left_out)}")]
    if len(analysis.left_out) > SAID_OUT:
        rows = tuple((str(out.row), out.response or say.ALL, out.why) for out in analysis.left_out[:MOST_ROWS])
        columns = say.LEFT_OUT_COLUMNS
        blocks.append(Grid(caption=say.ROWS_LEFT_OUT, table=Table(columns=columns, rows=rows), fold=True))
    question = analysis.question
    options = {name: getattr(question, name) for name in ("kind", "order", "squares", "confidence")}
    facts = {"source": analysis.source, "seed": str(question.seed), "options": json.dumps(options)}
    facts |= {str(name): str(value) for name, value in provenance.items()}
    pairs = [(say.fact_named(name), plain(value)) for name, value in facts.items()]
    blocks.append(Facts(pairs=tuple((name, value) for name, value in pairs if value), exact=True))
    return Section(key="provenance", title=say.WHERE_FROM, blocks=blocks)
