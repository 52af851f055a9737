"""What does the page show of scores, of yes and no, or of counts?"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.results import Analysis, ResponseResult
from analysis.scores.results import DoseLimit, LikelihoodRatio, ScoreDifference, ScorePart
from analysis.words import tables as say
from analysis.words.finding_parts import say_term
from analysis.words.numbers import half_width, say_level, say_number, say_p, say_share
from analysis.words.scores import say_scores, told_levels
from reports.figures.picture import Table
from reports.figures.scores import draw_scores
from reports.sections.blocks import Grid, Items, Picture, Words
from reports.sections.numbering import Keys

NONE = "–"
Block = Items | Picture | Grid | Words


def show_scores(part: ScorePart, about: ResponseResult, analysis: Analysis, keys: Keys) -> Sequence[Block]:
    """The sentences, the strips, then the tables behind them."""
    confidence = say_share(analysis.question.confidence)
    blocks: list[Block] = [Items(items=say_scores(part, about, analysis.question))]
    figure = draw_scores(part, about, key=keys())
    if figure is not None:
        blocks.append(Picture(figure=figure, fold=True))
    grids = [
        (say.expected_at_every(confidence), _levels(part)),
        (say.differences_of_levels(confidence), _pairs(part.pairs, part)),
        (say.contrasts_as_factors(confidence), _contrasts(part)),
        (say.doses_for_share(confidence), _doses(part.effective)),
        (say.TAKEN_FOR_GRANTED, _assumed(part)),
    ]
    blocks += [Grid(caption=caption, table=table, fold=True) for caption, table in grids if table.rows]
    return blocks


def _number(value: float | None, step: float | None = None) -> str:
    return NONE if value is None else say_number(value, step)


def _p(value: float | None) -> str:
    return NONE if value is None else say_p(value).removeprefix("p ").removeprefix("= ")


def _levels(part: ScorePart) -> Table:
    """Every level, where the sentences leave some out."""
    rows = []
    for one in part.levels if len(part.levels) > len(told_levels(part)) else ():
        step = half_width(one.low, one.high)
        where = ", ".join(f"{name} {say_level(level)}" for name, level in one.settings.items())
        rows.append((where, *(_number(value, step) for value in (one.mean, one.low, one.high))))
    return Table(columns=say.LEVEL_COLUMNS, rows=tuple(rows))


def _pairs(pairs: Sequence[ScoreDifference], part: ScorePart) -> Table:
    what = {"yes-no": say.DIFFERENCE_OF_SHARES, "count": say.DIFFERENCE_OF_COUNTS}.get(
        part.scale, "difference of scores"
    )
    odds = say.RATIO_OF_COUNTS if part.scale == "count" else say.ODDS_RATIO
    shown = part.link != "probit"
    rows = []
    for one in pairs:
        step = half_width(one.low, one.high)
        size = [_number(value, step) for value in (one.difference, one.low, one.high)]
        ratio = [_number(value) for value in (one.ratio, one.ratio_low, one.ratio_high)] if shown else []
        rows.append((one.factor, f"{one.a} – {one.b}", *size, *ratio, _p(one.p_adjusted)))
    columns = say.columns_of_pairs(what, say.columns_of_ratio(odds) if shown else ())
    return Table(columns=columns, rows=tuple(rows))


def _contrasts(part: ScorePart) -> Table:
    """On the model's own scale and as factors; their sizes in scores stand with the other chosen contrasts."""
    odds = say.RATIO_OF_COUNTS if part.scale == "count" else say.ODDS_RATIO
    rows = []
    for one in part.contrasts:
        at = "".join(f", {name} {level}" for name, level in one.at.items())
        step = half_width(one.low, one.high)
        numbers = [_number(value, step) for value in (one.estimate, one.low, one.high)]
        ratios = [_number(value) for value in (one.ratio, one.ratio_low, one.ratio_high)]
        rows.append((f"{one.name}{at}", *numbers, *ratios, _p(one.p)))
    columns = say.columns_of_contrasts(part.link, odds)
    return Table(columns=columns, rows=tuple(rows))


def _doses(doses: Sequence[DoseLimit]) -> Table:
    rows = []
    for one in doses:
        step = half_width(one.fieller_low, one.fieller_high)
        ends = [_number(value, step) for value in (one.dose, one.fieller_low, one.fieller_high)]
        rows.append((say_share(one.fraction), *ends))
    return Table(columns=say.SHARE_COLUMNS, rows=tuple(rows))


def _assumed(part: ScorePart) -> Table:
    rows = []
    groups: tuple[tuple[str, tuple[LikelihoodRatio, ...]], ...] = (
        (say.STEPS_ALIKE, part.proportional_odds),
        (say.SPREAD_ALIKE, part.equal_spread),
        (say.NO_INTERACTION, part.interactions),
        (say.GROUPS_UNLIKE, part.group_tests),
    )
    for what, tests in groups:
        for one in tests:
            rows.append((what, say_term(one.term), str(one.df), _number(one.statistic), _p(one.p)))
    return Table(columns=say.ASSUMED_COLUMNS, rows=tuple(rows))
