"""Are the questions made of this trial's own numbers, and are their answers right?"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from analysis.leavening.runs import SODA_LEFT
from analysis.words.classroom import ask_interval, ask_matters, ask_residual
from reports.sections.blocks import Grid, Items
from reports.sections.classroom import QUESTIONS, questions_section


def asked(analysis, chemistry=None) -> tuple[tuple[str, ...], list[str]]:
    section = questions_section(analysis, chemistry)
    items, grid = section.blocks[:2]
    assert isinstance(items, Items)
    assert isinstance(grid, Grid)
    assert grid.fold
    return items.items, [row[1] for row in grid.table.rows]


@pytest.mark.parametrize("kind", ["dose", "screening", "factorial"])
def test_each_question_has_its_answer(answers, kind):
    questions, told = asked(answers[kind]())
    assert 1 <= len(questions) == len(told) <= QUESTIONS
    assert all(one.endswith("?") for one in questions)


def test_what_holds_zero_and_what_does_not(answers):
    analysis = answers["factorial"]()
    result = analysis.responses[0]
    finding = next(f for f in result.findings if f.kind == "effect")
    clear = ask_interval(replace(finding, size=5.0, low=4.0, high=6.0), result, analysis.question)
    open_ = ask_interval(replace(finding, size=1.0, low=-1.0, high=3.0), result, analysis.question)
    assert clear.answer.startswith("No.")
    assert "5 %" in clear.answer
    assert open_.answer.startswith("Yes.")


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(4.0, 6.0, "Large enough"), (-6.0, -4.0, "Large enough"), (-1.0, 2.0, "Too small"), (-1.0, 4.0, "cannot be told")],
)
def test_against_what_matters(answers, low, high, said):
    result = answers["factorial"]().responses[0]
    finding = next(f for f in result.findings if f.kind == "effect")
    assert said in ask_matters(replace(finding, low=low, high=high), result, 3.0).answer


def test_the_residual_is_what_its_digits_come_to(answers):
    result = answers["factorial"]().responses[0]
    point = replace(result.family.points[0], observed=47.66, fitted=53.74, residual=-6.08)
    one = ask_residual(point, result, 2.2)
    assert "47.7" in one.question
    assert "53.7" in one.question
    assert one.answer.startswith("-6.0 mm: 2.7 times the scatter")


def test_soda_left_over_asks_for_cream_of_tartar(answers):
    analysis = answers["factorial"]()
    factor = analysis.question.factors[0].name
    chemistry = pd.DataFrame({factor: [1.0, 2.0], SODA_LEFT: [0.1, 0.5]})
    questions, told = asked(analysis, chemistry)
    place = next(i for i, one in enumerate(questions) if "Cream of tartar" in one)
    # 100 g of cream of tartar use up 44.6 g of soda (84.007 / 188.18): 0.5 g ask for 1.12 g.
    assert f"{factor} 2" in questions[place]
    assert "= 1.1" in told[place]
