"""Do answers become the plan that was meant, and does its file read back to the same design?"""

from itertools import product

import pytest

from analysis.designs.situations import AIMS as AIMS_OF_DESIGNS
from tracker.errors import InputError
from tracker.intake.plan_file import read_plan
from tracker.workflow import answers
from tracker.workflow.planning import preview_plan
from tracker.workflow.questions import Interview, propose
from tracker.workflow.requests import design_request
from tracker.workflow.usual_ranges import usual_range
from tracker.workflow.wishes import AIMS

FORMULAS = {"loaf": ("wheat flour", "rye flour", "water", "butter", "baking soda")}
FACTORS = {
    "how much": [["soda", "% flour", "0.25 to 2"]],
    "which kind": [["fat", "2", "butter, oil, lard"]],
    "as good": [["fat", "2", "butter, oil"]],
    "which matter": [
        ["soda", "1", "% flour", "0,5 to 1,5"],
        ["fat", "2", "butter, oil"],
        ["oven", "1", "°C", "170 to 200"],
    ],
    "best setting": [["soda", "1", "g", "1 to 3"], ["water", "1", "% flour", "60 to 75"]],
    "best blend": [["wheat flour", "40 to 100"], ["rye flour", "0 to 60"], ["oat flour", "0 to 60"]],
}
RESPONSES = [
    [["rise height", "mm", "1", "3", "2,5", ""]],
    [["rise height", "mm", "3", "not known", "none", ""], ["crumb pH", "none", "2", "0.2", "0.05", ""]],
]


def told(aim, *, responses=RESPONSES[0], hard="none", day="8", most="", title="A trial"):
    said = [str(list(AIMS).index(aim) + 1)]
    said += [text for factor in FACTORS[aim] for text in factor]
    said += ["", hard, day, most]
    said += [text for response in responses for text in response]
    return [*said, "", title]


@pytest.mark.parametrize(("aim", "responses", "hard"), [*product(AIMS, (0, 1), (False, True))])
def test_the_plan_file_reads_back_to_the_design_that_was_advised(aim, responses, hard):
    names = [factor[0] for factor in FACTORS[aim]]
    interview = Interview(given=told(aim, responses=RESPONSES[responses], hard=names[-1] if hard else "none"))
    assert interview.question is None
    proposal = propose(interview.wishes, seed=77)
    assert design_request(read_plan(proposal.text), None) == proposal.advice.request
    planned = preview_plan(proposal.text)
    assert planned.plan.to_json() == proposal.advice.chosen.plan.to_json()
    assert [factor.hard_to_change for factor in read_plan(proposal.text).factors] == [
        hard and name == names[-1] for name in names
    ]


def test_a_proposal_is_read_by_machines_too():
    import json

    proposal = propose(Interview(given=told("which kind")).wishes, seed=2)
    document = json.loads(json.dumps(proposal.to_json(), allow_nan=False))
    assert document["plan"] == proposal.text
    assert document["chosen"]["kind"] == proposal.advice.request.kind
    assert document["chosen"]["bakes"] == len(proposal.advice.chosen.plan.runs)
    assert document["runner_up"]["bakes"] == proposal.advice.runner_up.bakes
    assert " ".join(document["words"]) == " ".join(proposal.summary().split())


def test_every_line_of_the_file_is_explained():
    text = propose(Interview(given=told("which matter")).wishes, seed=1).text
    keys = [line for line in text.splitlines() if " = " in line and not line.startswith("#")]
    assert len(keys) > 20
    assert [line for line in keys if "  # " not in line] == []


def test_the_questions_offer_what_the_designs_can_answer():
    assert tuple(AIMS) == AIMS_OF_DESIGNS


@pytest.mark.parametrize("aim", AIMS)
def test_enter_alone_leads_to_a_plan(aim):
    interview = Interview(FORMULAS)
    interview.answer(str(list(AIMS).index(aim) + 1))
    asked = 0
    while interview.question is not None:
        assert interview.question.default
        assert interview.question.help
        assert interview.answer("") is None, interview.question
        asked += 1
        assert asked < 60
    assert propose(interview.wishes, seed=3).advice.chosen.df_error >= 3


def test_back_undoes_one_answer_at_a_time_and_forgets_what_hung_on_it():
    given = told("which matter")
    interview = Interview(given=given)
    whole = interview.wishes
    for _ in range(len(given)):
        assert interview.back()
    assert not interview.back()
    assert interview.wishes.factors == []
    for text in given:
        assert interview.answer(text) is None
    assert interview.wishes == whole


def test_a_page_comes_back_to_where_it_was():
    interview = Interview(given=told("how much")[:3])
    assert interview.question is not None
    assert interview.question.key == "doses"
    with pytest.raises(InputError, match="none of these"):
        Interview(given=["nonsense"])


def test_how_much_is_an_amount_and_asks_for_no_kind():
    asked = Interview(given=["2", "soda"]).question
    assert asked is not None
    assert asked.key == "unit"
    second = Interview(given=["2", "soda", "", ""]).question
    assert second is not None
    assert (second.key, second.default) == ("factor", "no more")
    shown = Interview(given=["2", "soda", "% flour"]).question.help
    assert "0,5" not in shown
    assert "comma or a point" in shown


def test_another_unit_behind_a_number_is_refused_without_a_word_of_columns():
    with pytest.raises(InputError) as refused:
        answers.above_zero_in("mm")("3 cm")
    assert "cm" in refused.value.what
    assert refused.value.try_this == "write the number alone, or with mm behind it"


def test_a_share_may_bear_its_sign_and_a_range_refuses_other_units_alike():
    assert answers.part_of(100)("0 % to 60 %") == (0, 60)
    with pytest.raises(InputError) as refused:
        answers.between("mm")("1 cm to 12 cm")
    assert "column" not in (refused.value.try_this or "")


def test_the_newest_formula_is_the_usual_answer():
    asked = Interview(FORMULAS, given=["2"]).question
    assert asked is not None
    assert asked.default == "loaf"


def test_lines_of_the_formula_are_offered_and_weighed():
    given = ["2", "loaf", "250", "soda", "% flour", "0.5 to 1.5", "", "", "", "", "", "rise height"]
    interview = Interview(FORMULAS, given=given)
    (factor,) = interview.wishes.factors
    assert factor.ingredient == "baking soda"
    assert (interview.wishes.formula, interview.wishes.flour_per_bake_g) == ("loaf", 250)


@pytest.mark.parametrize(
    ("read", "text", "value"),
    [
        (answers.doses(weighed=True), "0,5 to 2,5", (0.5, 2.5)),
        (answers.doses(weighed=True), "0.5 - 2.5", (0.5, 2.5)),
        (answers.doses(weighed=True), "0; 0,5; 1", [0, 0.5, 1]),
        (answers.doses(weighed=True), "1, 2, 3", [1, 2, 3]),
        (answers.doses(weighed=False), "-18 to 4", (-18, 4)),
        (answers.kinds, "butter, olive oil", ["butter", "olive oil"]),
        (answers.kinds, "1,5 % fat; 3,5 % fat", ["1,5 % fat", "3,5 % fat"]),
        (answers.kinds, "170 °C, 190 °C", ["170 °C", "190 °C"]),
        (answers.some_of(["oven", "dough"]), "2, Oven", ("dough", "oven")),
        (answers.whole(2, 400), "12", 12),
        (answers.label, "none", ""),
        (answers.above_zero, "0,2", 0.2),
        (answers.above_zero_in("mm"), "3 mm", 3),
        (answers.above_zero_in("mm"), "2,5MM", 2.5),
        (answers.above_zero_in("%"), "0.5 %", 0.5),
        (answers.doses(weighed=True, unit="g"), "0.5 g to 2,5 g", (0.5, 2.5)),
        (answers.doses(weighed=True, unit="% flour"), "0.5; 1 % flour; 2", [0.5, 1, 2]),
        (answers.doses(weighed=False, unit="°C"), "170°C to 190 °C", (170, 190)),
        (answers.between("mm"), "10 to 120", (10, 120)),
        (answers.between("mm"), "10 mm to 120 mm", (10, 120)),
        (answers.between("mm"), "10mm; 120,5MM", (10, 120.5)),
        (answers.between("m"), "0,5 120", (0.5, 120)),
        (answers.between("°C"), "-18 - 4", (-18, 4)),
        (answers.between(""), "-18 – -4", (-18, -4)),
        (answers.between("", [0, 14]), "0-14", (0, 14)),
    ],
)
def test_an_answer_is_read_as_it_was_meant(read, text, value):
    assert read(text) == value


@pytest.mark.parametrize(
    ("read", "text", "says"),
    [
        (answers.doses(weighed=True), "2", "One dose"),
        (answers.doses(weighed=True), "2 to 1", "do not rise"),
        (answers.doses(weighed=True), "-1 to 1", "below 0"),
        (answers.doses(weighed=True), "some to more", "text in a number"),
        (answers.part_of(100), "0 to 120", "more than the whole"),
        (answers.kinds, "butter", "One kind"),
        (answers.kinds, "butter, Butter", "twice"),
        (answers.name(["soda"], "thing"), "Soda", "already"),
        (answers.name([], "thing"), "bake order", "already"),
        (answers.some_of(["oven"]), "ovn", "no"),
        (answers.whole(2, 400), "2.5", "whole number"),
        (answers.whole(2, 400), "1", "whole number"),
        (answers.above_zero, "0", "above 0"),
        (answers.between("mm"), "120", "a least and a most"),
        (answers.between("mm"), "1; 2; 3", "a least and a most"),
        (answers.between("mm"), "120 to 10", "120 is not below 10"),
        (answers.between("mm"), "10 to 10", "10 is not below 10"),
        (answers.between("mm"), "10 to many", "text in a number"),
        (answers.between("mm"), "10 to nan", "not a number"),
        (answers.between("mm"), "1 cm to 12 cm", "behind its number"),
        (answers.between("mm"), "-5 -9", "not below"),
        (answers.between("", [0, 14]), "5 to 72", "outside 0 to 14"),
    ],
)
def test_what_cannot_be_is_refused_with_a_way_out(read, text, says):
    with pytest.raises(InputError, match=says) as refused:
        read(text)
    assert refused.value.try_this


def test_steps_between_semicolons_make_a_score_and_ph_stays_on_its_scale():
    said = told(
        "how much",
        responses=[["taste", "soapy; fair ; fine", "1", "0,5", "0.4"], ["crumb pH", "none", "2", "0.2", "0.05", ""]],
    )
    responses = read_plan(propose(Interview(given=said).wishes, seed=7).text).responses
    assert [(each.name, each.scale, each.anchors, each.possible) for each in responses] == [
        ("taste", "score", ["soapy", "fair", "fine"], None),
        ("crumb pH", "measured", [], [0.0, 14.0]),
    ]


@pytest.mark.parametrize("text", ["fine; fine", "; ".join(str(step) for step in range(21))])
def test_steps_that_make_no_score_are_asked_again(text):
    with pytest.raises(InputError, match="2 to 20 steps"):
        answers.unit_or_steps(text)


def ranges(name="rise height", unit="mm", differ="2,5", plausible="", **more):
    """What the plan file says of it: the range, and the words beside it."""
    said = told("how much", responses=[[name, unit, "1", "not known", differ, plausible]], **more)
    text = propose(Interview(given=said).wishes, seed=7).text
    (response,) = read_plan(text).responses
    return response.plausible, next((line for line in text.splitlines() if line.startswith("plausible = ")), "")


def test_a_range_that_was_proposed_is_marked_as_such_and_another_is_not():
    taken, words = ranges()
    assert taken == [5, 200]
    assert "common practice, no source" in words
    assert ranges(plausible="5 to 200")[1] == words
    own, words = ranges(plausible="20 to 90,5 mm")
    assert own == [20, 90.5]
    assert "no source" not in words
    assert ranges(plausible="none") == (None, "")


@pytest.mark.parametrize(
    ("name", "unit", "flour_g", "differences", "text"),
    [
        ("crumb pH", "", None, [0.1], "4 to 10"),
        ("Rise height", "mm", None, [], "5 to 200"),
        ("rise height", "cm", 300, [0.3], "0.5 to 20"),
        ("rise height", "mm", None, [250], None),  # no difference in mm is so large
        ("spread", "mm", None, [], "20 to 400"),
        ("weight of a loaf", "g", None, [None], "5 to 3000"),
        ("weight of a loaf", "g", 300, [], "15 to 1500"),
        ("loss of weight", "%", 300, [], "0 to 40"),
        ("moisture", "%", None, [], "0 to 100"),
        ("volume", "mL", None, [], "10 to 5000"),
        ("spread", "", None, [], None),  # a ratio
        ("firmness", "N", None, [], None),
    ],
)
def test_a_range_is_proposed_where_such_readings_are_known(name, unit, flour_g, differences, text):
    found = usual_range(name, unit, flour_g=flour_g, differences=differences)
    assert (found and found.text) == text
    assert found is None or "no source" in found.why


@pytest.mark.parametrize(("plausible", "kept"), [("", [4, 10]), ("6,5 to 8", [6.5, 8]), ("none", None)])
def test_the_range_of_a_ph_lies_on_its_scale(plausible, kept):
    assert ranges("crumb pH", "none", "0.1", plausible)[0] == kept
    with pytest.raises(InputError, match="outside 0 to 14 cannot be"):
        ranges("crumb pH", "none", "0.1", "6 to 72")
