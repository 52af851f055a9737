"""Do the pictures of chemistry say what the numbers say?"""

import pandas as pd
import pytest

from analysis.leavening.batter import Amount
from analysis.leavening.curve import titration_curve
from analysis.leavening.ingredients import INGREDIENTS
from analysis.leavening.measured import odd_ph
from analysis.leavening.runs import PREDICTED_PH
from reports.figures.chemistry import draw_ph, draw_titration

CODES = ["101", "202", "303", "404", "505", "606", "707"]
PREDICTED = [5.8, 6.1, 6.4, 6.7, 7.0, 7.3, 7.6]


def bakes(measured):
    return pd.DataFrame({"bake": CODES, PREDICTED_PH: PREDICTED, "measured_ph": measured})


def test_a_bake_off_the_line_of_its_fellows_stands_out():
    straight = [0.5 * ph + 3.6 + wobble for ph, wobble in zip(PREDICTED, [0.02, -0.02, 0.01] * 3, strict=False)]
    assert odd_ph(CODES, straight, PREDICTED) == ()
    wrong = list(straight)
    wrong[3] -= 0.6
    (odd,) = odd_ph(CODES, wrong, PREDICTED)
    assert odd.bake == "404"
    assert odd.gap == pytest.approx(-0.6, abs=0.05)
    figure = draw_ph(bakes(wrong), key="ph")
    assert "1 of 7 bakes stand out" in figure.alt
    assert ("404", "6.70", f"{wrong[3]:.2f}", "look here") in figure.table.rows


def test_too_few_bakes_are_not_judged_and_not_drawn():
    assert odd_ph(CODES[:4], [1.0, 2.0, 3.0, 9.0], PREDICTED[:4]) == ()
    assert draw_ph(bakes(PREDICTED).head(2), key="ph") is None


def test_the_titration_picture_names_the_neutral_dose():
    curve = titration_curve([Amount(what=INGREDIENTS["buttermilk"], grams=245)])
    figure = draw_titration(curve, key="curve", colours=True)
    assert "1.83 g" in figure.alt  # a cup at 0.8 % lactic [computed]
    assert len(figure.alt) <= 150
    assert len(figure.table.rows) == len(curve.points)
    assert figure.svg != draw_titration(curve, key="curve").svg
