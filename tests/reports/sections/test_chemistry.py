"""Does the section on gas, acid and pH show each account once, and no more than there is?"""

from itertools import count, product

import pandas as pd
import pytest

from analysis.leavening.runs import ACID_LEFT, GAS, PREDICTED_PH, SODA_LEFT
from analysis.questions import Factor, Question, Response
from analysis.results import Analysis
from reports.sections.blocks import Grid, Picture, Words
from reports.sections.chemistry import chemistry_section
from reports.sections.numbering import Keys

POWDER = Factor(name="powder", kind="amount", unit="% flour")
ACID = Factor(name="acid source", kind="category", levels=("yogurt", "vinegar"))
REST = Factor(name="rest", kind="amount", unit="min")


def asked(*factors):
    question = Question(factors=factors, responses=(Response(name="rise"),))
    return Analysis(question=question, source="x", rows_read=0, rows_used=0, left_out=(), responses=(), findings=())


def bakes(*factors, account, **more):
    """A bake for each combination of settings, with the account of its settings."""
    settings = [
        dict(zip([f.name for f, _ in factors], each, strict=True)) for each in product(*(v for _, v in factors))
    ]
    number = count(101)
    return pd.DataFrame([{"bake": str(next(number)), **each, **account(each), **more} for each in settings])


def of(gas, *, soda=0.0, acid=0.0, ph=7.0):
    low, high = (None, None) if ph is None else (ph - 0.5, ph + 0.5)
    return {GAS: gas, SODA_LEFT: soda, ACID_LEFT: acid, PREDICTED_PH: ph, "ph_low": low, "ph_high": high}


def section(factors, chemistry):
    return chemistry_section(asked(*factors), chemistry, None, Keys())


def table(factors, chemistry):
    (grid,) = [block for block in section(factors, chemistry).blocks if isinstance(block, Grid)]
    return grid.table


def test_settings_that_leave_the_account_as_it_is_are_not_told_apart():
    chemistry = bakes((POWDER, (1.0, 2.5)), (REST, (5, 45)), account=lambda s: of(78 * s["powder"]))
    found = table((POWDER, REST), chemistry)
    assert found.columns == (
        "powder (% flour)",
        "gas (mL)",
        "soda left (g)",
        "acid left (meq)",
        "predicted pH",
        "range",
    )
    assert [row[:2] for row in found.rows] == [("1", "78"), ("2.5", "195")]
    assert found.rows[0][-1] == "6.5\u00a0to\u00a07.5"


def test_a_category_that_moves_the_ph_alone_is_told_apart():
    chemistry = bakes(
        (POWDER, (1.0, 2.0)),
        (ACID, ACID.levels),
        account=lambda s: of(80, ph=6.0 if s["acid source"] == "yogurt" else 7.0),
    )
    found = table((POWDER, ACID), chemistry)
    assert [(row[0], row[4]) for row in found.rows] == [("yogurt", "6.0"), ("vinegar", "7.0")]


@pytest.mark.parametrize("factors", [(), (REST,)])
def test_one_account_for_all_bakes_is_one_row(factors):
    chemistry = bakes(*((f, (5, 45, 90)) for f in factors), account=lambda _: of(80, soda=0.25))
    assert table(factors, chemistry).rows == (("all", "80", "0.25", "0.0", "7.0", "6.5\u00a0to\u00a07.5"),)
    assert table(factors, chemistry).columns[0] == "bakes"


def test_without_water_there_is_no_ph():
    chemistry = bakes((POWDER, (1.0, 2.0)), account=lambda s: of(80 * s["powder"], ph=None))
    assert [row[-2:] for row in table((POWDER,), chemistry).rows] == [("–", "–")] * 2


@pytest.mark.parametrize(("many", "judged"), [(4, False), (5, True)])
def test_measured_ph_is_judged_only_where_there_are_enough_bakes(many, judged):
    chemistry = bakes(
        (POWDER, tuple(range(1, many + 1))), account=lambda s: of(80 * s["powder"], ph=6 + s["powder"] / 10)
    )
    chemistry["measured_ph"] = 6.5 + chemistry["powder"] / 20
    blocks = section((POWDER,), chemistry).blocks
    (picture,) = [block for block in blocks if isinstance(block, Picture)]
    assert ("too few to say" in picture.figure.alt) is not judged
    assert picture.figure.table.columns == ("bake", "predicted", "measured")
    assert any("stands out" in block.text for block in blocks if isinstance(block, Words)) is judged
    assert table((POWDER,), chemistry).rows[0][-1] == "6.55"


def test_categories_stand_in_the_order_of_the_plan():
    chemistry = bakes(
        (ACID, ["vinegar", "yogurt"]), account=lambda at: of(200 if at["acid source"] == "yogurt" else 90)
    )
    assert [row[0] for row in table([ACID], chemistry).rows] == ["yogurt", "vinegar"]  # not by the alphabet
