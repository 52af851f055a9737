"""What does the report show of a surface, of a path and of a blend?"""

from __future__ import annotations

from analysis.blends.results import BlendPart
from analysis.blends.triangle import triangle
from analysis.results import Analysis, ResponseResult
from analysis.surfaces.results import ClimbPart, SurfacePart
from analysis.surfaces.slices import slices
from analysis.words import tables as say
from analysis.words.blends import say_blend
from analysis.words.finding_parts import say_term
from analysis.words.numbers import half_width, say_level, say_number, say_p
from analysis.words.surfaces import say_climb, say_surface
from reports.figures.blend import draw_traces, draw_triangle
from reports.figures.picture import Table
from reports.figures.surface import draw_surface
from reports.sections.blocks import Grid, Items, Picture
from reports.sections.numbering import Keys

Blocks = list[Items | Picture | Grid]
NONE = "–"


def show_surface(part: SurfacePart, result: ResponseResult, analysis: Analysis, keys: Keys) -> Blocks:
    """Sentences, contours of the amounts that matter most, and the tables behind them."""
    confidence = analysis.question.confidence
    blocks: Blocks = [Items(items=say_surface(part, result, analysis.question))]
    for number, drawn in enumerate(slices(result, part, confidence)):
        figure = draw_surface(result, part, drawn, key=keys(), units=_units(analysis), confidence=confidence)
        # The table of a second picture says the same again.
        blocks.append(Picture(figure=figure, fold=number > 0, paper=number == 0))
    name = result.response.name
    if part.levels:
        blocks.append(Grid(caption=say.best_at_each_level(name), table=_levels(part), fold=True))
    blocks.append(Grid(caption=say.best_at_distance(name), table=_ridge(part), fold=True))
    blocks.append(Grid(caption=say.directions_of(name), table=_axes(part), fold=True))
    blocks.append(Grid(caption=say.second_order_of(name), table=_model(part), fold=True))
    if part.tests:
        blocks.append(Grid(caption=say.terms_together(name), table=_tests(part), fold=True))
    return blocks


def show_climb(part: ClimbPart, result: ResponseResult, analysis: Analysis, keys: Keys) -> Blocks:
    """The path in words and as a table."""
    names = tuple(part.steps[0].settings)
    rows = tuple(
        (*(say_level(step.settings[name]) for name in names), *_numbers(step.response, step.low, step.high))
        for step in part.steps
    )
    table = Table(columns=say.columns_of_levels(names), rows=rows)
    caption = say.path_caption(result.response.name)
    return [Items(items=say_climb(part, result, analysis.question)), Grid(caption=caption, table=table)]


def show_blend(part: BlendPart, result: ResponseResult, analysis: Analysis, keys: Keys) -> Blocks:
    """Sentences, the triangle where there are three shares, and the response along each share."""
    confidence = analysis.question.confidence
    blocks: Blocks = [Items(items=say_blend(part, result, analysis.question))]
    drawn = triangle(result, part, confidence)
    if drawn is not None:
        figure = draw_triangle(result, part, drawn, key=keys(), units=_units(analysis), confidence=confidence)
        blocks.append(Picture(figure=figure))
    traces = draw_traces(result, part, key=keys(), units=_units(analysis), confidence=confidence)
    if traces is not None:
        blocks.append(Picture(figure=traces))
    return blocks


def _units(analysis: Analysis) -> dict[str, str]:
    return {factor.name: factor.unit for factor in analysis.question.factors}


def _numbers(value: float, low: float | None, high: float | None) -> tuple[str, ...]:
    step = half_width(low, high)
    return tuple(NONE if number is None else say_number(number, step) for number in (value, low, high))


def _levels(part: SurfacePart) -> Table:
    names = (*part.at, *part.amounts)
    rows = tuple(
        (
            *(say_level(level.at[name]) for name in part.at),
            *(say_number(float(level.best[name]), part.coding[name].half / 4) for name in part.amounts),
            *_numbers(level.best_response, level.low, level.high),
        )
        for level in part.levels
    )
    return Table(columns=say.columns_of_levels(names), rows=rows)


def _ridge(part: SurfacePart) -> Table:
    rows = tuple(
        (
            say_number(point.distance, 0.1),
            *(say_number(point.settings[name], part.coding[name].half / 4) for name in part.amounts),
            *_numbers(point.response, point.low, point.high),
            say.YES if point.inside else say.NO,
        )
        for point in part.ridge
    )
    return Table(columns=say.columns_of_path(part.amounts), rows=rows)


def _axes(part: SurfacePart) -> Table:
    rows = tuple(
        (
            *(say_number(axis.change[name], axis.change[name]) for name in part.amounts),
            *_numbers(axis.eigenvalue, axis.low, axis.high),
            {"down": say.BENDS_DOWN, "up": say.BENDS_UP, "flat": say.NO_BEND}[axis.bend],
        )
        for axis in part.axes
    )
    return Table(columns=say.columns_of_bends(say.one_step_of(name) for name in part.amounts), rows=rows)


def _model(part: SurfacePart) -> Table:
    rows = tuple(
        (
            say_term(term.term),
            *(NONE if value is None else say_number(value, term.coded_se) for value in (term.coded, term.coded_se)),
            *(NONE if value is None else say_number(value, term.real_se) for value in (term.real, term.real_se)),
        )
        for term in part.coefficients
    )
    columns = say.MODEL_COLUMNS
    return Table(columns=columns, rows=rows)


def _tests(part: SurfacePart) -> Table:
    rows = tuple(
        (
            say_term(test.term),
            str(test.df),
            say_number(test.df_error),
            say_number(test.value),
            say_p(test.p).removeprefix("p = "),
        )
        for test in part.tests
    )
    return Table(columns=say.TERMS_COLUMNS, rows=rows)
