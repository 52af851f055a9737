"""Is an answer that was given once there again wherever it still fits, and is the plan the terminal's?"""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from tracker.errors import InputError
from tracker.workflow.plan_walk import walk
from tracker.workflow.questions import Interview
from tracker.workflow.wishes import AIMS

FORMULAS = {"loaf": ("wheat flour", "rye flour", "water", "butter", "baking soda")}
TWO_THINGS = {
    "aim": "1",
    "factor.1": "soda",
    "kind.1": "1",
    "unit.1": "g",
    "doses.1": "1 to 3",
    "factor.2": "fat",
    "kind.2": "2",
    "kinds.2": "butter, oil",
    "factor.3": "",
    "hard-to-change": "",
    "bakes-a-day": "",
    "bakes-at-most": "",
    "response.1": "",
    "response-unit.1": "",
    "goal.1": "",
    "matters.1": "3",
    "differ.1": "2,5",
    "plausible.1": "",
    "response.2": "",
    "title": "",
}


def through(formulas, texts, **more):
    """Answer page by page with what stands there, as a page would send it."""
    texts = dict(texts)
    for _ in range(80):
        found = walk(formulas, texts, **more)
        if not found.page:
            return found, texts
        more = {}
        texts |= {each.name: each.text for each in found.page if not each.refusal}
        texts |= {each.name: "" for each in found.page if each.refusal}
    raise AssertionError("the questions have no end")


@pytest.mark.parametrize("formulas", [{}, FORMULAS])
@pytest.mark.parametrize("aim", AIMS)
def test_defaults_lead_to_what_enter_alone_leads_to(aim, formulas):
    number = str(list(AIMS).index(aim) + 1)
    interview = Interview(formulas, [number])
    while interview.question is not None:
        assert interview.answer("") is None
    found, _ = through(formulas, {"aim": number})
    assert found.wishes == interview.wishes
    assert len(found.answered) == len(interview.given)


def test_every_question_has_a_name_of_its_own():
    found = walk({}, TWO_THINGS)
    assert [each.name for each in found.answered] == list(TWO_THINGS)
    assert found.page == ()


@pytest.mark.parametrize("name", [*TWO_THINGS])
def test_a_question_asked_for_is_shown_with_its_answer_and_all_others_stay(name):
    shown = walk({}, TWO_THINGS, at=name)
    assert shown.page[0].name == name
    assert shown.page[0].value == (TWO_THINGS[name] or shown.page[0].asked.default)
    assert shown.page[0].refusal is None
    again, _ = through({}, TWO_THINGS, at=name)
    assert again.wishes == walk({}, TWO_THINGS).wishes


def test_a_change_asks_only_what_has_no_answer_yet():
    found = walk({}, TWO_THINGS | {"kind.1": "2"})
    assert [each.name for each in found.page] == ["kinds.1"]
    whole = walk({}, TWO_THINGS | {"kind.1": "2", "kinds.1": "some, none at all"})
    assert whole.page == ()
    assert whole.wishes.responses == walk({}, TWO_THINGS).wishes.responses
    back = walk({}, TWO_THINGS | {"kinds.1": "some, none at all"})  # and an amount again: its doses are still known
    assert back.wishes == walk({}, TWO_THINGS).wishes


def test_an_answer_that_fits_no_longer_is_asked_again_with_what_was_typed():
    found = walk({}, TWO_THINGS | {"factor.1": "fat"})
    (page,) = found.page
    assert (page.name, page.text) == ("factor.2", "fat")
    assert "already" in page.refusal.what


def test_a_refusal_stands_at_its_own_field_of_two():
    found = walk({}, TWO_THINGS | {"matters.1": "a lot", "differ.1": "2"})
    assert [(each.name, each.refusal is None) for each in found.page] == [
        ("matters.1", False),
        ("differ.1", True),
        ("plausible.1", True),
    ]
    assert [each.text for each in found.page] == ["a lot", "2", ""]
    second = walk({}, TWO_THINGS | {"differ.1": "-1"})
    assert [(each.name, each.refusal is None) for each in second.page] == [("differ.1", False), ("plausible.1", True)]
    assert second.before == "matters.1"


def test_what_was_left_as_it_stood_follows_what_it_was_made_from():
    named = {"title": "Which of soda and fat matter"}
    assert walk({}, TWO_THINGS | named).wishes.title == "Which of soda and fat matter"
    assert walk({}, TWO_THINGS | named | {"factor.1": "powder"}).wishes.title == "Which of soda and fat matter"
    assert walk({}, TWO_THINGS | {"factor.1": "powder"}).wishes.title == "Which of powder and fat matter"
    last = walk({}, TWO_THINGS | named).answered[-1]
    assert last.text == ""  # it is the default, and is kept as such


def test_a_proposed_range_follows_the_unit_and_an_own_one_stays():
    for typed in ("", "5 to 200"):
        found = walk({}, TWO_THINGS | {"plausible.1": typed})
        assert found.wishes.responses[0].plausible == [5, 200]
        (taken,) = [each.text for each in found.answered if each.name == "plausible.1"]
        other = walk({}, TWO_THINGS | {"plausible.1": taken, "response-unit.1": "N"})
        assert other.wishes.responses[0].plausible is None
    own = TWO_THINGS | {"plausible.1": "20 to 90"}
    assert walk({}, own | {"response-unit.1": "N"}).wishes.responses[0].plausible == [20, 90]


def test_answers_are_said_in_words():
    said = {each.name: each.said for each in walk({}, TWO_THINGS | {"hard-to-change": "1, 2"}).answered}
    assert said["aim"] == "which of several things matter"
    assert said["kind.2"] == "a kind (butter, oil)"
    assert said["hard-to-change"] == "soda, fat"
    assert said["bakes-at-most"] == "as many as needed"


def test_going_back_stops_again_where_it_came_from():
    texts = {name: TWO_THINGS[name] for name in ("aim", "factor.1", "kind.1", "unit.1")}
    assert walk({}, texts | {"unit.1": "oz"}, until="unit.1").page[0].name == "unit.1"
    assert walk({}, texts | {"unit.1": "oz"}, until="unit.1").page[0].text == "oz"


WORDS = [
    "",
    "1",
    "2",
    "3",
    "no more",
    "none",
    "soda",
    "fat",
    "rye flour",
    "0.5 to 2",
    "5 to 200",
    "0,2",
    "butter, oil",
    "mm",
    "x" * 70,
]


@pytest.mark.parametrize("draw", range(40))
def test_whatever_is_answered_in_whatever_order_it_is_the_terminals_plan(draw):
    """Random answers, wrong ones too: the texts that a page sends are taken as the terminal takes them."""
    chance = Random(draw)
    formulas = FORMULAS if draw % 2 else {}
    texts, taken = {}, []
    for _ in range(300):
        found = walk(formulas, texts)
        if not found.page:
            break
        texts |= {each.name: chance.choice(WORDS) for each in found.page}
        if any(each.refusal for each in walk(formulas, texts).page) and chance.random() < 0.5:
            texts |= {each.name: "" for each in found.page}
    assert found.page == ()
    taken = [each.text for each in found.answered]
    assert Interview(formulas, taken).wishes == found.wishes


def test_the_interview_refuses_what_the_walk_refuses():
    with pytest.raises(InputError, match="none of these"):
        Interview({}, ["7"])
    assert walk({}, {"aim": "7"}).page[0].refusal is not None
    assert replace(walk({}, {}).page[0], text="7").value == "7"
