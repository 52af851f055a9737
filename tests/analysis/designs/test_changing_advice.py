"""Is another of the designs that were weighed, or the same with more repeats, laid out as it stands?"""

from __future__ import annotations

import pytest

from analysis.designs.advice import MOST_OTHERS, advise, instead, shape, with_repeats
from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignResponse
from analysis.designs.situations import AIMS, Situation
from analysis.errors import PlanError
from analysis.words.plans import plan_lines, plan_parts
from analysis.words.proposals import compared, told_apart

RISE = DesignResponse(name="rise height", unit="mm", spread=2.0, matters=3.0)


def situation(aim, **more):
    amounts = [DesignFactor(name=name, kind="amount", unit="g", low=1.0, high=3.0) for name in ("soda", "salt", "oil")]
    kinds = (DesignFactor(name="fat", kind="category", levels=("butter", "oil", "lard")),)
    shares = [
        DesignFactor(name=name, kind="share", unit="% flour", of="flour", total=100.0)
        for name in ("wheat", "rye", "oat")
    ]
    factors = {
        "how much": tuple(amounts[:1]),
        "which kind": kinds,
        "as good": kinds,
        "best blend": tuple(shares),
        "best setting": tuple(amounts[:2]),
    }.get(aim, tuple(amounts))
    return Situation(aim=aim, factors=factors, responses=(RISE,), bakes_a_day=8, seed=5, **more)


@pytest.mark.parametrize("aim", AIMS)
def test_others_are_different_and_really_laid_out(aim):
    advice = advise(situation(aim))
    assert (advice.runner_up is None) == (advice.others == ())
    assert len(advice.others) <= MOST_OTHERS
    if advice.others:
        assert advice.others[0] is advice.runner_up
    keys = [(shape(each.request), each.bakes) for each in (advice.chosen, *advice.others)]
    assert len(set(map(repr, keys))) == len(keys)
    for option in advice.others:
        assert option.plan.to_json() == lay_out(option.request).to_json()


@pytest.mark.parametrize("aim", AIMS)
def test_another_design_brings_its_own_reasons_and_what_was_advised_stays_beside_it(aim):
    advice = advise(situation(aim))
    for option in advice.others:
        other = instead(advice, option)
        assert other.chosen is option
        assert other.reasons[0] == option.why
        assert other.runner_up is other.others[0] is advice.chosen
        assert set(map(id, other.others)) == {id(advice.chosen), *map(id, advice.others)} - {id(option)}
        assert instead(other, advice.chosen).reasons == advice.reasons
        assert instead(other, advice.chosen).cautions == advice.cautions


@pytest.mark.parametrize("aim", ["how much", "which kind", "best setting"])
def test_repeats_multiply_the_bakes_and_make_the_answer_surer(aim):
    advice = advise(situation(aim))
    was = advice.request.replicates
    more = with_repeats(advice, was + 1)
    assert more.chosen.bakes * was == advice.chosen.bakes * (was + 1)
    assert more.chosen.sureness[0].half_width < advice.chosen.sureness[0].half_width
    assert more.chosen.days > advice.chosen.days
    assert more.others == advice.others
    assert with_repeats(more, was).chosen.plan.to_json() == advice.chosen.plan.to_json()


def test_repeats_that_cannot_be_say_why():
    advice = advise(situation("which kind"))
    with pytest.raises(PlanError, match="at least once"):
        with_repeats(advice, 0)
    with pytest.raises(PlanError, match="at most"):
        with_repeats(advice, 400)


def test_a_comparison_says_what_is_more_and_what_is_fewer():
    advice = advise(situation("best setting"))
    for option in advice.others:
        said = dict(compared(option, advice.chosen))
        more = option.bakes - advice.chosen.bakes
        beside = (
            f"{option.bakes}, {abs(more)} {'more' if more > 0 else 'fewer'}" if more else f"{option.bakes}, as many"
        )
        assert said["Bakes"] == beside
        assert f"± {option.sureness[0].half_width:.1f}" in said["Rise height"]
        assert said["Told apart"] == told_apart(option)


def test_a_design_that_keeps_nothing_set_says_how_often_it_is_set_anew():
    factors = (
        DesignFactor(name="oven", kind="amount", unit="°C", low=170.0, high=190.0, hard_to_change=True),
        DesignFactor(name="fat", kind="category", levels=("butter", "oil")),
    )
    advice = advise(Situation(aim="which matter", factors=factors, responses=(RISE,), seed=3))
    assert advice.chosen.plan.design.error_groups
    free = [option for option in advice.others if not option.plan.design.error_groups]
    assert free
    for option in free:
        assert (
            f"You would set oven {option.bakes} times instead of" in dict(compared(option, advice.chosen))["Set anew"]
        )


def test_what_is_mixed_is_said_first_of_a_screening():
    factors = tuple(DesignFactor(name=f"f{n}", kind="amount", unit="g", low=1.0, high=3.0) for n in range(6))
    advice = advise(Situation(aim="which matter", factors=factors, responses=(RISE,), seed=3))
    words = advice.chosen.plan.design.alias_words
    assert words
    assert told_apart(advice.chosen).startswith(words[0])


@pytest.mark.parametrize("aim", AIMS)
def test_sentences_by_part_say_what_the_lines_say(aim):
    plan = advise(situation(aim)).chosen.plan
    parts = plan_parts(plan, [RISE])
    said = {line.rstrip(".").casefold() for lines in parts.values() for line in lines}
    for line in plan_lines(plan, [RISE])[1:]:
        if not line.startswith("…"):
            assert line.rstrip(".").casefold() in said
    assert all(line[0] == line[0].upper() and line[-1] in ".:!?" for lines in parts.values() for line in lines)
