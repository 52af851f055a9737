"""Does the panel's page compare assessors by number, and give no code away before the end?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.questions import Response
from analysis.results import LeftOut
from analysis.words.panel import APART, CONSENT
from reports.kinds import Told
from reports.page import trial_page


def score_told(answers, **more) -> Told:
    """The factorial answer with its first response read as a score."""
    analysis = answers["factorial"]()
    first = analysis.responses[0]
    scored = replace(first, response=Response(name=first.response.name, scale="score"))
    analysis = replace(analysis, responses=(scored,), findings=first.findings, source="the tasting")
    return Told(analysis=analysis, title="Tasting", provenance={"command": "x"}, **more)


def scores_of(told: Told, people: int = 4, *, alone: bool = False) -> pd.DataFrame:
    chance = np.random.Generator(np.random.PCG64(2))
    factor = told.analysis.question.factors[0].name
    rows = []
    for bake in range(12):
        truth = 2 + bake % 3 + 0.2 * chance.standard_normal()
        for person in range(11, 11 + people):
            if alone and bake % people != person - 11:
                continue
            value = truth + 0.3 * chance.standard_normal() + (1.2 if person == 12 else 0)
            rows.append((f"{bake:03d}", told.analysis.responses[0].response.name, value, person, bake % 3))
    return pd.DataFrame(rows, columns=["bake", "response", "score", "person", factor])


def test_assessors_are_compared_by_number(answers, read):
    told = score_told(answers)
    page = read(trial_page(replace(told, scores=scores_of(told)), kind="panel").html())
    assert page.faults == []
    assert "Assessor 12 scores 1." in page.text
    assert "higher than the others" in page.text
    assert "Agreement on which is better" in page.text
    assert all(one in page.text for one in CONSENT)


@pytest.mark.parametrize(
    ("people", "alone", "said"),
    [(1, False, "given by one assessor"), (2, True, APART[1:]), (0, False, "No score of")],
)
def test_what_is_missing_is_said(answers, read, people, alone, said):
    told = score_told(answers)
    page = read(trial_page(replace(told, scores=scores_of(told, people, alone=alone)), kind="panel").html())
    assert said in page.text


def test_without_scores_or_without_people_the_page_stands(answers, read):
    assert "Who gave which score is not known" in read(trial_page(score_told(answers), kind="panel").html()).text
    measured = Told(analysis=answers["screening"](), title="A", provenance={})
    assert "no score" in read(trial_page(measured, kind="panel").html()).text


def test_no_treatment_is_named_before_the_end(answers, notes, read):
    told = score_told(answers, notes=notes, cautions=("Run 541: soda was 2 instead of 1.5.",), plan={"kind": "x"})
    told = replace(told, scores=scores_of(told))
    waiting = replace(told.analysis, left_out=(LeftOut(row="857", why="not yet baked"),))
    open_, blind = (
        read(trial_page(replace(told, analysis=analysis), kind="panel").html()).text
        for analysis in (told.analysis, waiting)
    )
    levels = {level for factor in told.analysis.question.factors for level in factor.levels}
    named = {factor.name for factor in told.analysis.question.factors}
    assert any(word in open_ for word in levels | named)
    assert not [word for word in levels | named if word in blind]
    assert "541" in open_
    assert "541" not in blind
    assert "Assessor 12" in blind
