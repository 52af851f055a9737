"""Is it said which of many lines need eyes, in words that fit what was counted?"""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.control.fleet.results import Fleet, LineAnswer
from analysis.words.fleet import by_chance, cautions, say_fleet, say_line

RULES = ("outside the limits", "eight on one side")
STEADY = LineAnswer(
    product="scones",
    site="north",
    line="2",
    response="rise height",
    readings=60,
    missing=0,
    batches=60,
    mean=43.91,
    sd=0.98,
    lower=40.97,
    upper=46.85,
    total=1.05,
    alarms={"outside the limits": 0, "eight on one side": 0},
    alarming=0,
    recent=0,
    ago=None,
)
LEFT = replace(STEADY, line="3", alarms={"outside the limits": 3, "eight on one side": 1}, alarming=4, recent=2, ago=0)
NOT_KEPT = replace(
    STEADY, line="4", lower_spec=43.0, below_spec=9, index=0.29, index_low=0.2, index_high=0.38
)  # fmt: skip


def fleet(*lines):
    return Fleet(engine="one pass", rules=RULES, recent=20, lines=lines)


def test_steady_lines_need_no_eyes():
    said = say_fleet(fleet(STEADY, replace(STEADY, line="5")))
    assert said.splitlines()[:2] == [
        "2 lines of 1 product, 120 readings: none raised an alarm.",
        "None needs eyes now: no alarm in the newest 20 batches of any line.",
    ]


def test_the_worst_stands_first_with_its_reason():
    said = say_fleet(fleet(STEADY, NOT_KEPT, LEFT))
    words = " ".join(said.split())
    assert said.startswith("3 lines of 1 product, 180 readings: alarms in 1 of them.")
    assert "Limits are made from all batches of a line; what a kitchen froze judges there" in words
    assert "2 lines need eyes, the worst first: scones, north, 3, rise height: 2 of the newest 20 batches" in words
    assert words.index("north, 3") < words.index("north, 4")
    assert "also the newest (over all 3 outside the limits and 1 eight on one side)" in words
    assert "mean 43.91, limits 40.97 to 46.85" in words
    assert max(map(len, said.splitlines())) <= 120


def test_a_specification_is_said_with_its_kind():
    assert "the specification is not kept, 15.00 % of the readings outside it: what it can do 0.29" in say_line(
        NOT_KEPT, 20
    )
    unsteady = replace(NOT_KEPT, alarming=3)
    assert "what it did, since it was not steady, 0.29" in say_line(unsteady, 20)
    wide = replace(NOT_KEPT, index=1.4, index_low=1.1, index_high=1.7, below_spec=0)
    assert "cannot be told: what it can do 1.40 (1.10 to 1.70), wanted 1.33" in say_line(wide, 20)
    assert not wide.needs_eyes


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"batches": 0, "readings": 0, "missing": 4, "mean": None, "sd": None}, "1 line without a single number"),
        ({"batches": 1, "sd": None}, "1 line with one batch: no limits yet."),
        ({"sd": 0.0}, "1 line without any spread"),
        ({"batches": 19}, "1 line with fewer than 20 batches: the limits are provisional."),
        ({"missing": 2}, "2 readings of 1 line hold no number and were left out."),
    ],
)
def test_what_cannot_be_said_is_said(change, said):
    assert any(said in sentence for sentence in cautions(fleet(STEADY, replace(STEADY, **change))))


def test_chance_is_named():
    # 1 - (1 - 0.0027)^25 is 6.5 %: the one rule without a memory, worked out by hand.
    assert "about 7 % of steady lines" in by_chance(replace(fleet(STEADY), rules=RULES[:1]))
