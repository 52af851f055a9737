"""Does the advice fit the day, the bakes and the question, and is it the truth about both designs?"""

from collections import Counter
from dataclasses import replace

import pytest
from scipy.stats import nct
from scipy.stats import t as student_t

from analysis.designs.advice import advise, shape
from analysis.designs.catalogue import KINDS
from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignResponse
from analysis.designs.situations import AIMS, Situation
from analysis.errors import PlanError

RISE = DesignResponse(name="rise height", unit="mm", spread=2.0, matters=3.0)
UNKNOWN = DesignResponse(name="rise height", unit="mm")


def amount(name, **more):
    return DesignFactor(name=name, kind="amount", unit="% flour", low=0.5, high=2.5, weighed=True, **more)


def category(name, count=2, **more):
    return DesignFactor(name=name, kind="category", levels=tuple(f"{name}{n}" for n in range(count)), **more)


def share(name, **more):
    return DesignFactor(name=name, kind="share", unit="% flour", of="flour", total=100, weighed=True, **more)


def situation(aim, *factors, **more):
    return Situation(**{"aim": aim, "factors": factors, "responses": (RISE,), "bakes_a_day": 8, **more})


def mixed(count):
    return tuple(category(f"kind {n}") if n % 3 == 2 else amount(f"amount {n}") for n in range(count))


def holds(advice):
    """What every advice promises."""
    asked, chosen = advice.situation, advice.chosen
    plan = lay_out(advice.request)
    assert plan.to_json() == chosen.plan.to_json()
    assert chosen.bakes == len(plan.runs) <= (asked.most_bakes or 60)
    assert all(stratum["df_error"] >= 3 for stratum in plan.design.judgement.strata if stratum["terms"])
    assert not advice.request.accept_few_df
    days = Counter(run.groups.get(asked.day) for run in plan.runs)
    if asked.bakes_a_day is not None and chosen.bakes > asked.bakes_a_day and not chosen.days_in_error:
        assert None not in days
        assert max(days.values()) <= asked.bakes_a_day
        assert chosen.days == len(days)
    if advice.runner_up is not None:
        assert advice.runner_up.plan.to_json() == lay_out(advice.runner_up.request).to_json()
        assert advice.runner_up.request != advice.request
        assert advice.runner_up.df_error >= 3
    return advice


# Every aim for one to four things; beyond five all lead to the same screenings.
CASES = [(aim, count) for aim in AIMS if aim != "best blend" for count in (1, 2, 3)]
CASES += [("which kind", 4), ("best setting", 5), *(("which matter", count) for count in range(4, 11)), ("how much", 8)]


@pytest.mark.parametrize(("aim", "count"), CASES)
def test_every_question_about_up_to_ten_things_gets_a_plan(aim, count):
    asked = situation(aim, *mixed(count), most_bakes=40, bakes_a_day=10)
    advice = holds(advise(asked))
    if aim != "which matter" and count >= 6:
        assert "find out which matter first" in [reason.key for reason in advice.reasons]


@pytest.mark.parametrize("make", [amount, category])
@pytest.mark.parametrize("count", [2, 4, 5, 7, 10])
def test_screening_is_always_answered(make, count):
    advice = holds(advise(situation("which matter", *(make(f"f{n}") for n in range(count)))))
    assert advice.chosen.good
    assert not {f"f{n}" for n in range(count)} & set(advice.chosen.plan.design.judgement.cannot_tell)
    if count <= 4:
        assert advice.chosen.plan.design.resolution in (None, 4, 5)


def test_one_amount_asks_for_a_ladder_of_at_least_four_doses_by_the_day():
    advice = holds(advise(situation("how much", amount("soda"))))
    assert advice.request.kind == "dose ladder"
    assert len(advice.chosen.plan.design.settings["soda"]) == 5
    assert (advice.request.block, advice.request.block_size) == ("bake day", 5)
    assert [reason.key for reason in advice.reasons] == ["a ladder of doses", "a block each day"]
    assert advice.cautions == ()


def test_fewer_doses_where_a_day_holds_only_four():
    advice = holds(advise(situation("how much", amount("soda"), bakes_a_day=4)))
    assert advice.chosen.days_in_error is False
    assert max(Counter(run.block for run in advice.chosen.plan.runs).values()) <= 4


def test_doses_that_were_chosen_are_kept():
    chosen = amount("soda")
    chosen = replace(chosen, low=None, high=None, values=(0.0, 0.5, 1.0, 2.0))
    advice = holds(advise(situation("how much", chosen)))
    assert advice.chosen.plan.design.settings["soda"] == (0.0, 0.5, 1.0, 2.0)


def test_kinds_are_baked_whole_each_day():
    advice = holds(advise(situation("which kind", category("fat", 3), bakes_a_day=6)))
    assert advice.request.kind == "complete blocks"
    for day in {run.block for run in advice.chosen.plan.runs}:
        met = Counter(run.settings["fat"] for run in advice.chosen.plan.runs if run.block == day)
        assert len(set(met.values())) == 1
        assert len(met) == 3


def test_it_grows_until_the_difference_that_matters_is_seen():
    """The chance is checked against the non-central t of two means, and one replicate fewer has less than 0.8."""
    advice = advise(situation("which kind", category("fat"), bakes_a_day=None))
    each = advice.request.replicates
    assert advice.request.kind == "completely randomised"

    def power(n):
        df, shift = 2 * n - 2, 3.0 / (2.0 * (2 / n) ** 0.5)
        critical = student_t.ppf(0.975, df)
        return nct.sf(critical, df, shift) + nct.cdf(-critical, df, shift)

    assert advice.chosen.power == pytest.approx(power(each), abs=1e-9)
    assert power(each) >= 0.8 > power(each - 1)
    assert advice.cautions == ()


def test_a_substitute_is_judged_by_the_chance_to_be_found_as_good():
    """Checked by 20,000 simulated trials: the interval must lie within the margin when nothing differs."""
    import numpy as np

    advice = holds(advise(situation("as good", category("fat"), bakes_a_day=None)))
    (sure,) = advice.chosen.sureness
    assert sure.same
    n = advice.request.replicates
    random = np.random.Generator(np.random.PCG64(4))
    a, b = random.normal(0, 2, (2, 20_000, n))
    half = student_t.ppf(0.975, 2 * n - 2) * np.sqrt((a.var(axis=1, ddof=1) + b.var(axis=1, ddof=1)) / n)
    difference = np.abs(a.mean(axis=1) - b.mean(axis=1))
    assert sure.power == pytest.approx(float((difference + half < 3.0).mean()), abs=0.04)
    assert advice.chosen.bakes > advise(situation("which kind", category("fat"), bakes_a_day=None)).chosen.bakes


def test_too_few_bakes_are_said_and_the_runner_up_shows_what_more_would_bring():
    advice = holds(advise(situation("which kind", category("fat", 3), most_bakes=9, bakes_a_day=9)))
    assert "too few bakes" in [caution.key for caution in advice.cautions]
    assert "as far as the bakes go" in [reason.key for reason in advice.reasons]
    assert advice.chosen.power < 0.8
    assert advice.runner_up.bakes > 9
    assert advice.runner_up.power > advice.chosen.power


def test_an_unknown_spread_is_said_and_something_is_repeated():
    advice = holds(advise(situation("how much", amount("soda"), responses=(UNKNOWN,))))
    assert [caution.key for caution in advice.cautions] == ["spread unknown"]
    assert advice.chosen.power is None
    assert advice.chosen.sureness[0].half_width is None
    settings = Counter(run.settings["soda"] for run in advice.chosen.plan.runs)
    assert min(settings.values()) >= 2


def test_days_that_cannot_be_taken_out_are_the_last_resort_and_are_said():
    advice = holds(advise(situation("how much", amount("soda"), category("acid", 3), bakes_a_day=5)))
    said = [caution.key for caution in advice.cautions]
    assert ("days in the error" in said) == advice.chosen.days_in_error


def test_what_is_hard_to_change_is_never_silently_changed_each_bake():
    oven = amount("oven", hard_to_change=True)
    advice = holds(advise(situation("which matter", oven, amount("soda"), category("fat"))))
    if {"split-plot", "optimal"} & set(KINDS):
        assert advice.request.kind in ("split-plot", "optimal")
        plots = advice.chosen.plan.design.error_groups[0]
        settings = {(run.groups[plots], run.settings["oven"]) for run in advice.chosen.plan.runs}
        assert len(settings) == len({run.groups[plots] for run in advice.chosen.plan.runs})
        assert not advice.runner_up.plan.design.error_groups
        assert "settings taken to differ as bakes do" in [caution.key for caution in advice.cautions]
    else:
        assert "set afresh each time" in [caution.key for caution in advice.cautions]


def test_everything_hard_to_change_is_set_afresh_each_time_and_said():
    advice = holds(advise(situation("how much", amount("oven", hard_to_change=True))))
    assert "set afresh each time" in [caution.key for caution in advice.cautions]


@pytest.mark.parametrize("low", [None, 40.0])
def test_a_blend_is_planned_over_shares(low):
    asked = situation("best blend", share("wheat", low=low), share("rye"), share("oat"))
    if not any(KINDS[kind].shares for kind in KINDS):
        with pytest.raises(PlanError, match="No design fits"):
            advise(asked)
        return
    advice = holds(advise(asked))
    for run in advice.chosen.plan.runs:
        assert sum(run.settings.values()) == pytest.approx(100)
        assert run.settings["wheat"] >= (low or 0) - 1e-9


def test_surfaces_show_bends_of_every_amount():
    for count in (2, 4):
        advice = holds(advise(situation("best setting", *(amount(f"f{n}") for n in range(count)), bakes_a_day=12)))
        terms = advice.chosen.plan.design.judgement.terms
        assert {f"f{n}^2" for n in range(count)} <= set(terms)


def test_the_same_question_gets_the_same_answer():
    asked = situation("which matter", *mixed(4))
    assert advise(asked).request == advise(asked).request
    other = advise(replace(asked, seed=2))
    assert shape(other.request) == replace(shape(advise(asked).request), seed=2)


def test_nothing_to_change_and_no_bakes_are_refused():
    with pytest.raises(PlanError, match="Nothing is to be changed"):
        advise(situation("which matter"))
    with pytest.raises(PlanError, match="answer nothing"):
        advise(situation("which matter", amount("soda"), most_bakes=0))
    with pytest.raises(PlanError, match="the smallest plan that can") as refused:
        advise(situation("which matter", *(category(f"c{n}") for n in range(4)), most_bakes=6))
    assert refused.value.try_this.startswith("8")


@pytest.mark.parametrize(("day", "kinds", "in_turns"), [(9, 3, False), (3, 3, False), (4, 5, True), (8, 4, False)])
def test_kinds_take_turns_only_where_a_day_is_too_short_for_all(day, kinds, in_turns):
    advice = advise(situation("which kind", category("fat", kinds), bakes_a_day=day))
    whys = [option.why.key for option in (advice.chosen, *advice.others)]
    assert ("a part of the kinds each day" in whys) == in_turns
