"""How sure is this, and how was it computed?"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.results import Analysis, ResponseResult
from analysis.scores.results import ScorePart
from analysis.words import GLOSSARY, say_model, say_number, say_p, say_share, say_term
from analysis.words import tables as say
from analysis.words.numbers import say_fixed, say_level, say_list, start
from analysis.words.pages import between
from analysis.words.trust_checks import SCALES
from reports.figures.picture import Table
from reports.sections.blocks import Facts, Grid, Heading, Section, Words

NONE = "–"
TERMS = ("difference that matters", "interval", "bake", "interaction", "p")


def sure_section(analysis: Analysis) -> Section:
    """The methods of each response in words, with the tables a statistician asks for."""
    blocks: list[Words | Grid | Heading | Facts] = []
    for result in analysis.responses:
        if len(analysis.responses) > 1:
            blocks.append(Heading(text=start(result.response.name)))
        blocks.append(Words(text=say_model(result, analysis.question)))
        blocks += _tables(result, analysis.question.confidence)
    terms = tuple((term, GLOSSARY[term]) for term in TERMS if term in GLOSSARY)
    blocks += [Heading(text=say.WORDS_USED), Facts(pairs=terms)]
    return Section(key="sure", title=say.HOW_SURE, blocks=blocks)


def _tables(result: ResponseResult, confidence: float) -> list[Grid]:
    name = result.response.name
    named = say.an_interval(say_share(confidence))
    scale = result.family.model.transform
    on = say.as_its_scale(SCALES.get(scale, scale)) if scale else ""
    grids = [
        (say.tests_of(name, on), _tests(result)),
        (say.shapes_of(name), _shapes(result)),
        (say.comparisons_of(name, _hidden(result), named), _comparisons(result)),
        (say.contrasts_of(name, named), _contrasts(result)),
        (say.as_good_within(name, say_share(2 * confidence - 1)), _equivalence(result)),
        (say.coefficients_of(name, on or _hidden(result), named), _coefficients(result)),
    ]
    return [Grid(caption=caption, table=table, fold=True) for caption, table in grids if table.rows]


def _hidden(result: ResponseResult) -> str:
    """ " on the logit scale": effects of scores, shares and counts are no differences of scores."""
    part = next((part for part in result.family.parts if isinstance(part, ScorePart)), None)
    return say.on_scale(part.link) if part else ""


def _number(value: float | None, step: float | None = None) -> str:
    return NONE if value is None else say_number(value, step)


def _p(value: float | None) -> str:
    return NONE if value is None else say_p(value).removeprefix("p ").removeprefix("= ")


def _tests(result: ResponseResult) -> Table:
    rows = []
    for test in result.family.tests:
        value = NONE if test.value is None else f"{test.statistic} = {say_number(test.value)}"
        df = str(test.df), _number(test.df_error)
        rows.append((say_term(test.term), *df, _number(test.sum_sq), value, _p(test.p)))
    left = result.family.residual
    if rows and left is not None:
        rows.append(("residual", str(left.df), NONE, _number(left.sum_sq), NONE, NONE))
    pure = result.family.dose.pure_error if result.family.dose else None
    if pure is not None:
        rows.append((say.PURE_ERROR, str(pure.df), NONE, _number(pure.sum_sq), NONE, NONE))
    fit = result.family.dose.lack_of_fit if result.family.dose else None
    if fit is not None:
        rows.append(
            ("lack of fit", str(fit.df), str(fit.df_error), _number(fit.sum_sq), f"F = {_number(fit.value)}", _p(fit.p))
        )
    return Table(columns=say.TEST_COLUMNS, rows=tuple(rows))


def _shapes(result: ResponseResult) -> Table:
    candidates = result.family.dose.candidates if result.family.dose else ()
    rows = tuple(
        (c.shape, say_fixed(c.aicc, 1), say_share(round(c.weight, 3)), _number(c.rss), str(c.df)) for c in candidates
    )
    return Table(columns=say.SHAPE_COLUMNS, rows=rows)


def _comparisons(result: ResponseResult) -> Table:
    rows = []
    for c in result.family.comparisons:
        step = _half(c.low, c.high)
        where = _at(c.at)
        rows.append(
            (
                c.factor,
                f"{c.a} – {c.b}{where}",
                *(_number(v, step) for v in (c.difference, c.low, c.high)),
                _p(c.p_adjusted),
            )
        )
    return Table(columns=say.COMPARISON_COLUMNS, rows=tuple(rows))


def _contrasts(result: ResponseResult) -> Table:
    rows = []
    for c in result.family.contrasts:
        step = _half(c.low, c.high)
        numbers = (_number(v, step) for v in (c.estimate, c.low, c.high))
        rows.append((f"{c.name}{_at(c.at)}", *numbers, _number(c.se), _number(c.df), _p(c.p)))
    columns = say.CONTRAST_COLUMNS
    return Table(columns=columns, rows=tuple(rows))


def _equivalence(result: ResponseResult) -> Table:
    said = {"yes": say.AS_GOOD, "no": say.NOT_AS_GOOD, "unsure": "cannot tell"}
    rows = []
    for e in result.family.equivalence:
        step = _half(e.low, e.high)
        margin = between(_number(e.margin_low), _number(e.margin_high))
        numbers = (_number(v, step) for v in (e.estimate, e.low, e.high))
        rows.append((f"{e.a} {'/' if e.ratio else '–'} {e.b}", *numbers, margin, said[e.equivalent], _p(e.p)))
    what = say.RATIO if any(e.ratio for e in result.family.equivalence) else say.DIFFERENCE
    return Table(columns=say.columns_of_equivalence(what), rows=tuple(rows))


def _coefficients(result: ResponseResult) -> Table:
    rows = []
    for c in result.family.coefficients:
        step = _half(c.low, c.high)
        numbers = (_number(v, step) for v in (c.estimate, c.low, c.high))
        rows.append((say_term(c.term), *numbers, _number(c.se), _p(c.p)))
    return Table(columns=say.COEFFICIENT_COLUMNS, rows=tuple(rows))


def _half(low: float | None, high: float | None) -> float | None:
    return None if low is None or high is None or low == high else (high - low) / 2


def _at(at: Mapping[str, str]) -> str:
    said = say_list([f"{name} {say_level(level)}" for name, level in at.items()])
    return say.at_slice(said) if said else ""
