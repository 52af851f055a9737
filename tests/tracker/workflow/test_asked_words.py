"""Does the question at the head of a trial name what is changed and what is read?"""

from __future__ import annotations

import pytest

from tracker.intake.plan_file import read_plan
from tracker.intake.plan_tables import FactorTable, ResponseTable
from tracker.workflow.asked_words import LONGEST, question_of
from tracker.workflow.questions import Interview, propose
from tracker.workflow.wishes import AIMS, Wishes

SODA = FactorTable(name="soda", kind="amount", unit="% flour", low=0.5, high=2.5)
FAT = FactorTable(name="fat", kind="category", levels=["butter", "oil"])
RISE = ResponseTable(name="rise height", unit="mm", matters=3.0)
PH = ResponseTable(name="crumb pH", unit="")


@pytest.mark.parametrize(
    ("aim", "factors", "responses", "said"),
    [
        ("how much", [SODA], [RISE], "How much soda gives the best rise height?"),
        ("how much", [FAT, SODA], [RISE], "How much soda gives the best rise height when fat changes too?"),
        ("which kind", [FAT], [RISE, PH], "Which fat gives the best rise height and crumb pH?"),
        ("which kind", [FAT, SODA], [RISE], "Which fat and soda give the best rise height?"),
        ("as good", [FAT], [RISE], "Is oil as good as butter in rise height, within 3 mm?"),
        ("as good", [FAT], [RISE, PH], "Is oil as good as butter in rise height and crumb pH?"),
        ("as good", [SODA], [RISE], "Do other settings of soda give as good a rise height, within 3 mm?"),
        ("which matter", [SODA, FAT], [RISE], "Which of soda and fat matter for rise height?"),
        ("best setting", [SODA, FAT], [RISE], "Which setting of soda and fat gives the best rise height?"),
        ("best blend", [SODA, FAT], [RISE], "Which blend of soda and fat gives the best rise height?"),
    ],
)
def test_the_question_names_things_and_readings(aim, factors, responses, said):
    assert question_of(Wishes(aim=aim, factors=factors, responses=responses)) == said


def test_names_too_long_for_a_sheet_leave_the_aim_alone():
    many = [SODA.model_copy(update={"name": f"{place} {'x' * 70}"}) for place in range(6)]
    said = question_of(Wishes(aim="which matter", factors=many, responses=[RISE]))
    assert said == f"What is asked: {AIMS['which matter']}."
    assert len(said) <= LONGEST


def test_the_plan_file_carries_it():
    given = ["2", "soda", "% flour", "0.5 to 2.5", "", "", "8", "", "rise height", "mm", "1", "3", "2", "", "", ""]
    assert read_plan(propose(Interview(given=given).wishes, seed=3).text).question == (
        "How much soda gives the best rise height?"
    )
