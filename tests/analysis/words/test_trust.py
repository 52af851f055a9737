"""What is said of trust names the bake, the number and what to do; no fact is needed that may be missing."""

import pytest

from analysis.linear.sensitivity import Change, ChangesPart, FindingChange
from analysis.questions import Question, Response
from analysis.results import Check, FamilyResult, Finding, ModelNote, ResponseResult
from analysis.words.changes import say_changes
from analysis.words.checks import say_check
from analysis.words.findings import say_finding
from analysis.words.trust_checks import TRUST_CHECKS

RISE = Response(name="rise", unit="mm", matters=3.0)
SODA = FindingChange(
    kind="effect", variables=("soda",), size=5.0, low=3.4, high=6.6, matters="yes",
    size_then=2.0, low_then=0.5, high_then=3.5, matters_then="unsure",
)  # fmt: skip


def said(*changes):
    result = ResponseResult(
        response=RISE, n_bakes=12, n_readings=12, family=FamilyResult(model=ModelNote(kind="factors", terms=("soda",))),
        findings=(), next_bakes=(), checks=(),
    )  # fmt: skip
    return say_changes(ChangesPart(changes=changes), result, Question(factors=(), responses=(RISE,)))


@pytest.mark.parametrize("key", TRUST_CHECKS)
@pytest.mark.parametrize("verdict", ["fine", "look here"])
def test_every_check_is_said_even_without_facts(key, verdict):
    sentence = say_check(Check(check=key, verdict=verdict))
    assert sentence[0].isupper()
    assert sentence.endswith(".")
    assert "None" not in sentence
    assert "nan" not in sentence.split()


def test_a_turned_verdict_is_said_with_its_interval():
    (sentence,) = said(Change(what="bake", names=("B7",), findings=(SODA,)))
    assert sentence == (
        "Without bake B7, the effect of soda may or may not matter, where it now matters: +2.0 mm "
        "(95 % interval 0.5 to 3.5)."
    )


def test_no_turn_is_said_with_what_moves_most():
    still = FindingChange(**{**vars(SODA), "size_then": 4.2, "low_then": 3.1, "high_then": 5.3, "matters_then": "yes"})
    (sentence,) = said(Change(what="covariate", names=("warmth",), findings=(still,)))
    assert (
        sentence
        == "Without warmth in the model, no finding changes its verdict; the effect of soda moves most, "
        + ("from +5.0 to +4.2 mm.")
    )


def test_what_cannot_be_had_otherwise_says_why():
    (sentence,) = said(Change(what="transform", names=("log",), why="Too few bakes."))
    assert sentence == "Without the logarithm, nothing can be said: Too few bakes."


def test_a_finding_that_is_lost_is_named():
    lost = FindingChange(**{**vars(SODA), "size_then": None, "low_then": None, "high_then": None, "matters_then": None})
    (sentence,) = said(Change(what="bakes", names=("B7", "B9"), findings=(lost,)))
    assert sentence == "Without bakes B7 and B9 together, the effect of soda cannot be told at all."


def test_a_ratio_stands_beside_the_size():
    finding = Finding(
        kind="effect", response="rise", variables=("acid",), size=5.0, low=1.2, high=9.0, unit="mm", direction="up",
        matters="unsure", facts={"from": "yogurt", "to": "lemon", "ratio": (1.12, 1.03, 1.22)},
    )  # fmt: skip
    sentence = say_finding(finding, RISE)
    assert "+5.0 mm (95 % interval 1.2 to 9.0), that is 12.0 % higher (95 % interval 3.0 to 22.0 %)" in sentence
    lower = Finding(**{**vars(finding), "size": -5.0, "facts": {**finding.facts, "ratio": (0.8, 0.7, 0.9)}})
    assert "that is 20 % lower (95 % interval 10 to 30 %)" in say_finding(lower, RISE)


@pytest.mark.parametrize(
    ("size", "low", "high", "matters", "says"),
    [
        (5.0, 3.5, 6.5, "yes", "lies above what the corners foretell"),
        (-5.0, -6.5, -3.5, "yes", "lies below what the corners foretell"),
        (1.0, 0.5, 1.5, "no", "bends by less than the 3 mm that matters"),
        (1.0, -2.0, 4.0, "unsure", "this trial cannot tell whether rise bends half way along soda and oven"),
    ],
)
def test_the_bend_at_the_centre(size, low, high, matters, says):
    finding = Finding(
        kind="centre", response="rise", variables=("soda", "oven"), size=size, low=low, high=high, unit="mm",
        direction="up", matters=matters,
    )  # fmt: skip
    assert says.lower() in say_finding(finding, RISE).lower()


def test_the_levels_that_one_bake_moves_apart_are_named():
    facts = {"bake": "54", "term": "feed", "size": 30.0, "without": 43.0, "shift": 13.0, "levels": ("rye", "spelt")}
    check = Check(check="influence", verdict="fine", facts=facts)
    assert say_check(check).endswith("Bake 54 moves most, the effect of feed (rye against spelt) from 30 to 43.")


@pytest.mark.parametrize(
    ("fewest", "most", "said"), [(1, 2, "once or twice"), (1, 6, "once to 6 times"), (7, 8, "7 to 8 times")]
)
def test_how_often_treatments_were_baked_reads_well(fewest, most, said):
    check = Check(check="evenness", verdict="fine", facts={"fewest": fewest, "most": most})
    assert say_check(check) == f"Treatments were baked {said}."
