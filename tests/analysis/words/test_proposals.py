"""Does a proposal say why it stands before smaller plans, and what reading the bench asks about?"""

from __future__ import annotations

import pytest

from analysis.designs.advice import advise, instead
from analysis.designs.requests import DesignFactor, DesignResponse
from analysis.designs.situations import Situation
from analysis.words.advice import say_reason
from analysis.words.numbers import start
from analysis.words.proposals import say_put_first, say_range

RISE = DesignResponse(name="rise height", unit="mm", spread=2.0, matters=3.0)
SODA = DesignFactor(name="soda", kind="amount", unit="% flour", low=0.5, high=2.5)


def ladder(**more):
    return advise(Situation(aim="how much", factors=(SODA,), responses=(RISE,), **more))


def test_a_plan_put_before_a_smaller_one_says_why():
    advice = ladder(bakes_a_day=8)
    said = say_put_first(advice)
    smaller = [each for each in advice.others if each.good and each.bakes < advice.chosen.bakes]
    assert smaller
    assert said is not None
    assert f"{advice.chosen.why.facts['doses']} doses show the shape of the curve better than" in said
    # Where the smallest of all is chosen there is nothing to say.
    assert say_put_first(instead(advice, min(smaller, key=lambda each: each.bakes))) is None


def test_a_day_that_is_not_filled_says_why():
    advice = ladder(bakes_a_day=8)
    (block,) = [reason for reason in advice.reasons if reason.key == "a block each day"]
    said = say_reason(block)
    assert block.facts["bakes"] < 8
    assert f"Up to {block.facts['bakes']} bakes a day, though 8 fit: so the days come out even." in said
    (full,) = [each for each in ladder(bakes_a_day=block.facts["bakes"]).reasons if each.key == block.key]
    assert "though" not in say_reason(full)


@pytest.mark.parametrize(("doses", "told"), [(3, "not where the best lies"), (5, "where it stops rising")])
def test_doses_promise_no_more_than_they_show(doses, told):
    factor = DesignFactor(name="soda", kind="amount", unit="%", values=tuple(range(1, doses + 1)))
    advice = advise(Situation(aim="how much", factors=(factor,), responses=(RISE,)))
    said = say_reason(advice.reasons[0])
    assert told in said
    assert ("whole curve" in said) is (doses >= 5)


def test_a_limit_of_bakes_is_named_where_more_would_help():
    reasons = [say_reason(each) for each in ladder(most_bakes=9).reasons]
    assert "It is the most that 9 bakes can tell: more repeats need a higher limit." in reasons


def test_the_range_of_a_reading_is_said_in_its_unit():
    assert say_range("rise height", "mm", (5, 200)).startswith("Rise height: a reading outside 5 to 200 mm is kept")
    assert say_range("crumb pH", "", None) == f"{start('crumb pH')}: every reading is taken without a question."
