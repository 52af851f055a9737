"""Does the picture of the scores say what the table says, in grey as well?"""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from reports.figures.scores import draw_scores
from reports.figures.style import LINES
from reports.sections.numbering import Keys
from reports.sections.scores import show_scores


@pytest.fixture(scope="module")
def answer():
    rows = [("cold", s) for s in (1, 1, 2, 2, 2, 3, 3, 4)] + [("warm", s) for s in (2, 3, 3, 4, 4, 4, 5, 5)]
    table = pd.DataFrame(rows, columns=["oven", "crumb"]).astype({"crumb": float})
    factor = Factor(name="oven", kind="category", levels=("cold", "warm"))
    return analyse(table, Question(factors=(factor,), responses=(Response(name="crumb", scale="score"),), kind="score"))


def test_strips_say_their_shares_and_the_best_treatment(answer):
    result = answer.responses[0]
    figure = draw_scores(result.family.parts[0], result, key="one")
    warm = result.family.parts[0].treatments[1]
    assert "oven warm" in figure.alt
    assert f"{warm.mean:.2f}"[:3] in figure.alt
    row = figure.table.rows[1]
    shares = [round(100 * share) for share in warm.fitted.values()]
    assert [int(cell) for cell in row[1:6]] == shares
    assert row[-1] == "0 / 1 / 2 / 3 / 2"


def test_scores_are_told_apart_without_colour(answer):
    result = answer.responses[0]
    svg = draw_scores(result.family.parts[0], result, key="one").svg
    assert svg.count("<pattern") >= 3
    assert all(line not in svg for line in LINES[1:4])


def test_the_section_has_sentences_picture_and_tables(answer):
    result = answer.responses[0]
    blocks = show_scores(result.family.parts[0], result, answer, Keys())
    kinds = [block.kind for block in blocks]
    assert kinds[:2] == ["items", "picture"]
    pairs = next(block for block in blocks if block.kind == "grid")
    assert pairs.table.rows[0][1] == "cold – warm"
