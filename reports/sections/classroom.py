"""What does a class need besides: safety first, and questions about its own numbers?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from analysis.results import Analysis, BakePoint, Finding, ResponseResult
from analysis.words import headings as say
from analysis.words import say_level
from analysis.words.classroom import SAFETY, Asked, ask_bakes, ask_interval, ask_matters, ask_residual, ask_soda
from analysis.words.numbers import with_unit
from reports.figures.picture import Table
from reports.html import plain
from reports.sections.blocks import Block, Grid, Items, Section, Words

if TYPE_CHECKING:
    from pandas import DataFrame

QUESTIONS = 3
TELLING_SODA_G = 0.05


def safety_section() -> Section:
    """What everyone hears before anything is weighed."""
    return Section(key="safety", title=say.BEFORE_YOU_BAKE, blocks=[Items(items=SAFETY)])


def questions_section(analysis: Analysis, chemistry: DataFrame | None) -> Section | None:
    """Three questions of this trial's numbers; their answers are folded away, and stay off paper."""
    asked = [one for one in (_interval(analysis), _bakes(analysis), _soda(analysis, chemistry)) if one]
    asked += [one for one in (_residual(analysis), _matters(analysis)) if one]
    asked = asked[:QUESTIONS]
    if not asked:
        return None
    rows = tuple((str(place), plain(one.answer)) for place, one in enumerate(asked, start=1))
    blocks: list[Block] = [
        Items(items=tuple(plain(one.question) for one in asked), ordered=True),
        Grid(caption=say.THE_ANSWERS, table=Table(columns=say.QUESTION_COLUMNS, rows=rows), fold=True),
        Words(text=say.NOT_OPENED, tone="quiet"),
    ]
    return Section(key="questions", title=say.QUESTIONS, blocks=blocks)


def _interval(analysis: Analysis) -> Asked | None:
    for finding, result in _effects(analysis):
        return ask_interval(finding, result, analysis.question)
    return None


def _matters(analysis: Analysis) -> Asked | None:
    for finding, result in _effects(analysis):
        if result.response.matters and finding.unit == result.response.unit:
            return ask_matters(finding, result, result.response.matters)
    return None


def _effects(analysis: Analysis) -> Iterator[tuple[Finding, ResponseResult]]:
    """Effects with a closed interval, the foremost first."""
    for result in analysis.responses:
        for finding in result.findings:
            if finding.kind == "effect" and finding.size is not None and None not in (finding.low, finding.high):
                yield finding, result


def _bakes(analysis: Analysis) -> Asked | None:
    """The response with the most readings for each bake tells it best."""
    if not analysis.responses:
        return None
    result = max(analysis.responses, key=lambda one: one.n_readings / max(one.n_bakes, 1))
    treatments = {tuple(sorted((k, str(v)) for k, v in point.settings.items())) for point in result.family.points}
    return ask_bakes(result, len(treatments)) if treatments else None


def _soda(analysis: Analysis, chemistry: DataFrame | None) -> Asked | None:
    if chemistry is None or not len(chemistry):
        return None
    from analysis.leavening.runs import SODA_LEFT
    from analysis.leavening.substances import SUBSTANCES

    left = chemistry[SODA_LEFT].astype(float)
    value = SUBSTANCES["cream of tartar"].neutralising_value
    if value is None or not left.max() > TELLING_SODA_G:
        return None
    row = chemistry.loc[left.idxmax()]
    factors = [factor for factor in analysis.question.factors if factor.name in chemistry]
    settings = ", ".join(f"{f.name} {with_unit(say_level(row[f.name]), f.unit)}" for f in factors)
    return ask_soda(settings or say.ONE_OF_THEM, round(float(left.max()), 2), value)


def _residual(analysis: Analysis) -> Asked | None:
    for result in analysis.responses:
        spread = _spread(result)
        known = [point for point in result.family.points if point.residual is not None and point.fitted is not None]
        if spread and known:
            return ask_residual(max(known, key=_size), result, spread)
    return None


def _spread(result: ResponseResult) -> float | None:
    """Not where the scatter is on another scale than the readings."""
    residual = result.family.residual
    return residual.sd if residual and not result.family.model.transform else None


def _size(point: BakePoint) -> float:
    return abs(point.residual or 0.0)
