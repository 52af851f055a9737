"""Does one tap add the bakes that its sentence asks for, and is it said what is left?"""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from analysis.results import NextBakes
from analysis.words.next_bakes import say_next
from tracker.errors import Conflict
from tracker.workflow.next_bakes import TWICE, Proposal, beside, proposals_of, runs_to_come
from tracker.workflow.recording import record_run
from tracker.workflow.results_pages import Results, add_proposed

BEST = {"soda": 1.52, "acid source": "yogurt"}
OTHER = {"soda": 0.5, "acid source": "lemon juice"}
ONE = {"response": "rise height", "unit": "mm", "mean": 60.0, "low": 58.0, "high": 62.0, "times": 0, "level": ""}
FACTS = {
    "bake the best": {"response": "rise height", "unit": "mm", "times": 0, "expected": 60.0, "low": 58.0, "high": 62.0},
    "bake the best doses": {"response": "rise height", "unit": "mm", "forecasts": [ONE]},
    "bake for all goals": {"responses": ("rise height",), "forecasts": [ONE], "times": 0},
    "more bakes": {
        "variables": ("soda",),
        "response": "rise height",
        "more": 22,
        "each": 11,
        "half_width": 3.0,
        "aim": 2.0,
        "unit": "mm",
    },
    "confirm": {"response": "rise height"},
    "fill empty cells": {"term": "soda:acid source"},
}


def answer_with(why: str, *treatments):
    bakes = NextBakes(why=why, treatments=treatments, facts=FACTS[why])
    question = SimpleNamespace(
        factors=(SimpleNamespace(name="soda", unit="%"), SimpleNamespace(name="acid source", unit=""))
    )
    result = SimpleNamespace(next_bakes=(bakes,), response=SimpleNamespace(name="rise height"))
    return SimpleNamespace(question=question, responses=(result,))


def results(why: str, *treatments, to_come=()) -> tuple[Results, Proposal]:
    analysis = answer_with(why, *treatments)
    (proposal,) = proposals_of(analysis)
    found = Results(
        trial="soda",
        answer=SimpleNamespace(analysis=analysis),
        sections=(),
        cautions=(),
        next_bakes=(proposal,),
        asked=(),
        to_come=tuple(to_come),
    )
    return found, proposal


@pytest.mark.parametrize("why", FACTS)
def test_a_sentence_that_asks_for_two_bakes_adds_two(why):
    _, proposal = results(why, BEST)
    assert ("twice" in proposal.words) == (why in TWICE)
    assert proposal.adds == (2 if "twice" in proposal.words else 1)


def test_what_one_tap_adds_and_what_then_remains_is_said():
    found, proposal = results("more bakes", BEST, OTHER)
    assert "22 more bakes (11 of each treatment)" in proposal.words
    assert found.about_adding(proposal) == "One tap adds 2, one of each treatment; about 20 then remain."
    found, proposal = results("more bakes", BEST, OTHER, to_come=[BEST, OTHER, {**BEST, "soda": 1.5}])
    assert found.about_adding(proposal) == (
        "2 of these bakes stand in the plan and are not read yet. "
        "One tap adds 2, one of each treatment; about 18 then remain."
    )
    found, proposal = results("bake the best", BEST)
    assert found.about_adding(proposal) == ""  # the button says it all


def test_what_stands_in_the_plan_is_not_added_once_more():
    found, proposal = results("bake for all goals", BEST, to_come=[BEST, BEST])
    assert not found.can_add(proposal)
    assert found.about_adding(proposal) == "2 of these bakes stand in the plan and are not read yet."
    with pytest.raises(Conflict, match="stand in the plan"):
        add_proposed(None, found, proposal.words, person=1)
    found, proposal = results("bake for all goals", BEST, to_come=[BEST])
    assert found.can_add(proposal)
    assert found.about_adding(proposal).startswith("1 of these bakes stands in the plan and is not read yet.")


def test_a_proposal_that_leaves_a_setting_open_is_not_added():
    found, proposal = results("confirm", {"soda": 1.5})
    assert not found.is_whole(proposal)
    assert not found.can_add(proposal)


def test_a_single_treatment_is_baked_beside_one_that_is_known():
    baked = [{"soda": 1.0, "acid source": "yogurt"}, OTHER, OTHER, BEST, BEST, BEST]
    (alone,) = proposals_of(answer_with("confirm", BEST), baked)
    assert (alone.beside, alone.added, alone.adds) == (OTHER, (BEST, OTHER), 2)
    assert "soda 0.5 %, acid source lemon juice, which was baked before, is baked beside it" in alone.summary()
    (best,) = proposals_of(answer_with("bake the best", BEST), baked)
    assert (best.adds, best.wanted) == (4, 2)
    assert "is baked twice beside it" in best.about_beside
    (both,) = proposals_of(answer_with("fill empty cells", BEST, OTHER), baked)
    assert (both.beside, both.adds, both.about_beside) == (None, 2, "")
    (open_,) = proposals_of(answer_with("confirm", {"soda": 1.5}), baked)
    assert open_.beside is None
    assert beside([BEST], [BEST, BEST]) is None  # nothing else is known


def test_runs_to_come_are_those_that_are_neither_read_nor_lost(soda):
    assert len(runs_to_come(soda, "soda")) == 8
    record_run(soda, "soda", "108", ["rise height=42"])
    record_run(soda, "soda", "107", outcome="failed", reason="the tin fell")
    record_run(soda, "soda", "106")
    come = runs_to_come(soda, "soda")
    assert len(come) == 6
    assert {"soda": 1.0, "acid source": "lemon juice"} in come


def test_words_name_no_more_than_the_bakes_that_are_wanted():
    assert "more bakes than is sensible" in say_next(
        NextBakes(why="more bakes", treatments=(), facts={**FACTS["more bakes"], "more": None})
    )
    found, proposal = results("fill empty cells", BEST, OTHER)
    assert (proposal.wanted, proposal.adds, found.about_adding(proposal)) == (2, 2, "")
