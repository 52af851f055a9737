"""Does the picture of the scores say what the table says, in grey as well?"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.words.scores import say_scores
from reports.figures.scores import _on_a_line, draw_scores
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


def test_the_legend_takes_lines_enough_for_its_words():
    assert _on_a_line(("gummy", "coarse", "fair", "fine", "fine and even")) == 5
    assert _on_a_line(("a long name it is",) * 9) == 3
    assert _on_a_line(("no", "yes")) == 2


def test_levels_without_a_sentence_stand_in_a_table(answer):
    result = answer.responses[0]
    part = result.family.parts[0]
    many = replace(part, levels=tuple(replace(part.levels[0], settings={"oven": f"no. {i}"}) for i in range(9)))
    assert "The 3 further levels stand in a table of the report, and in JSON." in say_scores(
        many, result, answer.question
    )
    shown = [b for b in show_scores(many, result, answer, Keys()) if b.kind == "grid"]
    assert shown[0].caption == "Expected at every level, 95 % interval"
    assert [row[0] for row in shown[0].table.rows] == [f"oven no. {i}" for i in range(9)]
    assert "Expected at every level, 95 % interval" not in [
        b.caption for b in show_scores(part, result, answer, Keys()) if b.kind == "grid"
    ]
