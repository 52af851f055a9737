"""Do blocks hold whole sets, also where they do not come out even, and is the analysis of such days right?"""

from collections import Counter
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t as student_t

from analysis.designs.advice import advise, with_repeats
from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse
from analysis.designs.situations import Situation
from analysis.engine import analyse
from analysis.errors import PlanError
from analysis.questions import Factor, Question, Response
from analysis.words.plans import plan_lines

ACID = DesignFactor(name="acid source", kind="category", levels=("lemon juice", "yogurt", "cream of tartar"))
SODA = DesignFactor(name="soda", kind="amount", unit="% flour", low=0.5, high=2.5)
AMOUNTS = tuple(DesignFactor(name=name, kind="amount", low=0, high=10) for name in "ab")
RISE = DesignResponse(name="rise height", unit="mm", spread=2.0, matters=3.0)
SETS = DesignRequest(
    kind="complete blocks",
    factors=(ACID,),
    seed=20261125,
    responses=(RISE,),
    replicates=5,
    block="bake day",
    block_size=9,
)


@pytest.mark.parametrize(
    ("replicates", "size", "blocks"),
    [(5, 9, [9, 6]), (7, 9, [9, 9, 3]), (5, 12, [12, 3]), (5, 6, [6, 6, 3]), (4, 6, [6, 6]), (7, 3, [3] * 7)],
)
def test_days_that_do_not_come_out_even_hold_whole_sets_the_last_fewer(replicates, size, blocks):
    request = replace(SETS, replicates=replicates, block_size=size)
    plan = lay_out(request)
    days = {label: [run for run in plan.runs if run.block == label] for label in sorted({r.block for r in plan.runs})}
    assert [len(runs) for runs in days.values()] == blocks
    for runs in days.values():
        counts = Counter(run.settings["acid source"] for run in runs)
        assert len(counts) == 3
        assert len(set(counts.values())) == 1
    assert lay_out(request).to_json() == plan.to_json()
    # n - treatments - (blocks - 1)
    assert plan.design.judgement.df_error == 3 * replicates - 3 - (len(blocks) - 1)
    # Every day holds every kind equally often, so a difference of two means has the variance 2 s^2 / replicates.
    width = plan.design.judgement.half_widths["rise height"]["acid source"]
    df = plan.design.judgement.df_error
    assert width == pytest.approx(student_t.ppf(0.975, df) * RISE.spread * np.sqrt(2 / replicates))
    assert plan.design.evenness == {"acid source": dict.fromkeys(ACID.levels, replicates)}
    assert plan.design.confounded_with_blocks == ()


def test_centre_points_go_with_the_sets_of_days_that_do_not_come_out_even():
    corners = DesignRequest(kind="full factorial", factors=AMOUNTS, seed=1, replicates=3, block="day", centre_points=3)
    plan = lay_out(replace(corners, block_size=10))
    assert Counter(run.block for run in plan.runs) == {"1": 10, "2": 5}
    assert Counter(run.block for run in plan.runs if run.coded == {"a": 0.0, "b": 0.0}) == {"1": 2, "2": 1}


@pytest.mark.parametrize(
    ("size", "fits"), [(8, "block_size = 3 or 6 or 15"), (10, "block_size = 3 or 9 or 15"), (2, "block_size = 3 or 15")]
)
def test_a_block_size_that_no_sets_make_up_names_the_next_that_they_do(size, fits):
    request = replace(SETS, block_size=size)
    with pytest.raises(PlanError, match="whole sets") as caught:
        lay_out(request)
    assert caught.value.try_this.startswith(fits)


def test_the_plan_says_how_many_runs_unlike_days_hold_and_nothing_of_like_ones():
    assert "the bake days hold 9 and 6 runs" in plan_lines(lay_out(SETS), (RISE,))
    assert not any(" hold " in line for line in plan_lines(lay_out(replace(SETS, block_size=3)), (RISE,)))


def situation(factor, day, **more):
    aim = "how much" if factor is SODA else "which kind"
    return Situation(aim=aim, factors=(factor,), responses=(RISE,), bakes_a_day=day, seed=5, **more)


@pytest.mark.parametrize(
    ("times", "day", "days"),
    [
        (5, 9, [9, 6]),
        (4, 9, [6, 6]),  # as few days come out even
        (5, 8, [6, 6, 3]),
        (6, 9, [9, 9]),
        (5, 4, [3] * 5),
    ],
)
def test_fifteen_bakes_in_sets_of_three_at_nine_a_day_take_two_days(times, day, days):
    option = with_repeats(advise(situation(ACID, day)), times).chosen
    assert option.request.kind == "complete blocks"
    assert option.bakes == 3 * times
    sizes = Counter(run.groups.get("bake day") for run in option.plan.runs)
    assert sorted(sizes.values(), reverse=True) == days
    assert option.days == len(days)
    assert not option.days_in_error


@pytest.mark.parametrize("day", [8, 9, 11, 12, 15])
@pytest.mark.parametrize("factor", [ACID, SODA], ids=["kinds", "doses"])
def test_no_plan_in_whole_sets_takes_more_days_than_full_days_would(factor, day):
    advice = advise(situation(factor, day))
    for option in (advice.chosen, *advice.others):
        if option.request.kind not in ("complete blocks", "dose ladder") or option.request.block is None:
            continue
        doses = len({run.settings[factor.name] for run in option.plan.runs})
        assert option.days == -(-option.request.replicates // (day // doses))
        assert max(Counter(run.block for run in option.plan.runs).values()) <= day


def asked(plan, factor):
    return Question(
        factors=(Factor(name=factor.name, kind=factor.kind, levels=factor.levels),),
        responses=(Response(name="rise height", matters=3.0),),
        blocks=plan.design.fixed_groups,
        model=plan.design.model,
        bake="bake",
    )


def test_the_chance_of_a_false_effect_is_five_in_a_hundred_and_the_interval_holds_the_truth():
    """Nothing does anything, but days differ ten times as much as bakes do: 500 trials of days of 9 and 6."""
    plan = lay_out(SETS)
    question = asked(plan, ACID)
    chance = np.random.Generator(np.random.PCG64(20261126))
    found = pd.DataFrame(
        {
            "bake": [run.code for run in plan.runs],
            "bake day": [run.block for run in plan.runs],
            "acid source": [run.settings["acid source"] for run in plan.runs],
        }
    )
    places = found["bake day"].astype(int) - 1
    false, within, trials = 0, 0, 500
    for _ in range(trials):
        found["rise height"] = 50 + 20 * chance.normal(size=2)[places] + 2 * chance.normal(size=len(found))
        family = analyse({"rise height": found}, question).responses[0].family
        (test,) = [each for each in family.tests if each.term == "acid source"]
        assert (test.df, test.df_error) == (2, 11)
        false += test.p < 0.05
        within += family.comparisons[0].low <= 0 <= family.comparisons[0].high
    # 0.05 and three standard errors of a share of 500; adjusted intervals of one comparison hold 95 % or more.
    assert 0.02 <= false / trials <= 0.08
    assert within / trials >= 0.92
