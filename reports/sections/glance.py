"""What shows the answer, and what is to be expected of it?

The picture that belongs to the answer; at the amount it names, each response with its interval
beside the gas, the left-overs and the pH; the assessors' words there; the first next bake.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from analysis.dose_results import Curve, CurvePoint
from analysis.results import Analysis, ResponseResult
from analysis.words import headings as say
from analysis.words.amounts import range_for_all
from analysis.words.glance import say_expected, say_first_next, say_taste, say_where
from analysis.words.numbers import half_width, say_fixed, say_number, start, with_unit
from analysis.words.pages import between
from reports.figures.amounts import draw_amounts, lanes_of
from reports.figures.equivalence import draw_equivalence
from reports.figures.picture import Figure, Table
from reports.figures.side_by_side import draw_side_by_side
from reports.figures.taste import tags_of
from reports.sections.blocks import Grid, Items, Picture, Section
from reports.sections.numbering import Keys

if TYPE_CHECKING:
    from pandas import DataFrame


def glance_section(
    analysis: Analysis, chemistry: DataFrame | None, notes: DataFrame | None, keys: Keys
) -> Section | None:
    """None when there is neither a picture nor an amount nor anything to bake next."""
    followed = _followed(analysis)
    blocks: list[Picture | Grid | Items] = []
    figure = _picture(analysis, followed, keys)
    if figure is not None:
        blocks.append(Picture(figure=figure, fold=True))
    amount = _amount(followed)
    unit = _unit(analysis, followed)
    said: list[str] = []
    if amount is not None:
        caption = say_expected(amount, analysis, unit)
        blocks.append(Grid(caption=caption, table=_expected(amount, followed, chemistry)))
        said += _taste(amount, followed, notes, unit)
    said += [line for line in (say_first_next(analysis),) if line]
    if said:
        blocks.append(Items(items=tuple(said)))
    return Section(key="glance", title=say.AT_A_GLANCE, blocks=blocks) if blocks else None


def _followed(analysis: Analysis) -> list[ResponseResult]:
    """The responses for which an amount is recommended, along one dose."""
    told = [result for result in analysis.responses if result.response.goal and lanes_of(result)]
    first = told[0].family.dose if told else None
    return [result for result in told if first and result.family.dose and result.family.dose.dose == first.dose]


def _picture(analysis: Analysis, followed: list[ResponseResult], keys: Keys) -> Figure | None:
    confidence = analysis.question.confidence
    if any(result.family.equivalence for result in analysis.responses):
        asked = next(result for result in analysis.responses if result.family.equivalence)
        return draw_equivalence(asked, key=keys(), confidence=confidence)
    if followed:
        return draw_amounts(followed, key=keys(), dose_unit=_unit(analysis, followed), confidence=confidence)
    return draw_side_by_side(analysis.responses, key=keys(), confidence=confidence)


def _unit(analysis: Analysis, followed: list[ResponseResult]) -> str:
    dose = followed[0].family.dose if followed else None
    return next((f.unit for f in analysis.question.factors if dose and f.name == dose.dose), "")


def _amount(followed: list[ResponseResult]) -> float | None:
    """The amount to expect something at: amid the bests within the range that suits all, else the least of it."""
    shared = range_for_all(followed) if followed else None
    if shared is None:
        return None
    bests = [lane.best for result in followed for lane in lanes_of(result)]
    known = [best for best in bests if best is not None]
    if len(known) < len(bests):
        return shared[0]
    return min(max(sum(known) / len(known), shared[0]), shared[1])


def _expected(amount: float, followed: list[ResponseResult], chemistry: DataFrame | None) -> Table:
    rows = []
    for result in followed:
        dose = result.family.dose
        assert dose is not None
        at = [_at(curve, amount) for curve in dose.curves if curve.points]
        mean = sum(point.mean for point in at) / len(at)
        lows, highs = [p.low for p in at if p.low is not None], [p.high for p in at if p.high is not None]
        ends = "–"
        step = None
        if len(lows) == len(highs) == len(at):
            step = half_width(min(lows), max(highs))
            ends = between(say_number(min(lows), step), say_number(max(highs), step))
        rows.append((start(result.response.name), with_unit(say_number(mean, step), result.response.unit), ends))
    return Table(columns=say.EXPECTED_COLUMNS, rows=(*rows, *_account(amount, followed, chemistry)))


def _at(curve: Curve, amount: float) -> CurvePoint:
    """The curve between its two nearest drawn points."""
    import numpy as np

    doses = [point.dose for point in curve.points]

    def between(values: list[float | None]) -> float | None:
        return None if None in values else float(np.interp(amount, doses, np.array(values, dtype=float)))

    mean = between([point.mean for point in curve.points])
    assert mean is not None
    return CurvePoint(
        dose=amount,
        mean=mean,
        low=between([point.low for point in curve.points]),
        high=between([point.high for point in curve.points]),
    )


def _account(amount: float, followed: list[ResponseResult], chemistry: DataFrame | None) -> list[tuple[str, str, str]]:
    """Gas, left-overs and pH between the amounts that were baked, over all other settings."""
    dose = followed[0].family.dose
    if chemistry is None or dose is None or dose.dose not in chemistry or not len(chemistry):
        return []
    from analysis.leavening.runs import ACID_LEFT, GAS, PREDICTED_PH, SODA_LEFT

    wanted: tuple[tuple[str, str, str, int], ...] = (
        (say.GAS_FOR_100_G, GAS, "mL", 0),
        (say.SODA_LEFT_OVER, SODA_LEFT, "g", 2),
        (say.ACID_LEFT_OVER, ACID_LEFT, "meq", 1),
        (say.PH_OF_CRUMB, PREDICTED_PH, "", 1),
    )
    rows = []
    for name, column, unit, decimals in wanted:
        low, middle, high = _between(chemistry, dose.dose, dose.by, column, amount)
        if middle is None or low is None or high is None:
            continue
        ends = (say_fixed(low, decimals), say_fixed(high, decimals))
        alike = say.the_same_by(dose.by) if dose.by else "–"
        spread = alike if ends[0] == ends[1] else say.range_by(ends[0], ends[1], dose.by)
        rows.append((name, with_unit(say_fixed(middle, decimals), unit), spread))
    return rows


def _between(chemistry: DataFrame, dose: str, by: str | None, column: str, amount: float) -> tuple[float | None, ...]:
    """(least, mean, most) over the levels of ``by``, each read between the two nearest amounts."""
    import numpy as np

    groups = [group for _, group in chemistry.groupby(by, observed=True)] if by in chemistry else [chemistry]
    found = []
    for group in groups:
        means: Any = group.groupby(dose, observed=True)[column].mean().dropna()
        if len(means):
            found.append(float(np.interp(amount, means.index.to_numpy(dtype=float), means.to_numpy(dtype=float))))
    return (min(found), sum(found) / len(found), max(found)) if found else (None, None, None)


def _taste(amount: float, followed: list[ResponseResult], notes: DataFrame | None, unit: str) -> list[str]:
    dose = followed[0].family.dose
    if notes is None or dose is None or dose.dose not in notes or not len(notes):
        return []
    doses = sorted({float(value) for value in notes[dose.dose]})
    nearest = min(doses, key=lambda value: abs(value - amount))
    there = notes[notes[dose.dose] == nearest]
    counted: dict[str, int] = {}
    for tags in there["tags"]:
        for tag in dict.fromkeys(tags_of(tags)):
            counted[tag] = counted.get(tag, 0) + 1
    return [say_taste(counted, len(there), say_where(amount, dose.dose, unit, doses))]
