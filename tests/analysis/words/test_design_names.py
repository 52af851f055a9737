"""Do no two designs that are offered beside each other bear one name, and is what differs said rightly?"""

import re
from itertools import product

import pytest

from analysis.designs.advice import advise
from analysis.designs.requests import DesignFactor, DesignResponse
from analysis.designs.situations import Situation
from analysis.words.design_names import tell_apart

RISE = DesignResponse(name="rise height", unit="mm", spread=2.0, matters=3.0)
SODA = DesignFactor(name="soda", kind="amount", unit="% flour", low=0.5, high=2.5)
MILK = DesignFactor(name="milk", kind="amount", unit="% flour", low=50, high=70)
FAT = DesignFactor(name="fat", kind="category", levels=("butter", "oil", "lard"))
OVEN = DesignFactor(name="oven", kind="amount", unit="°C", low=170, high=200, hard_to_change=True)
CASES = [
    *product(["how much"], [(SODA,)], [4, 8, 9, None]),
    *product(["which kind"], [(FAT,)], [8, 9, None]),
    *product(["best setting"], [(SODA, MILK), (SODA, FAT)], [9, None]),
    ("which matter", (OVEN, SODA, FAT), 8),
]


@pytest.mark.parametrize(("aim", "factors", "day"), CASES)
def test_no_two_of_a_proposal_bear_one_name(aim, factors, day):
    advice = advise(Situation(aim=aim, factors=factors, responses=(RISE,), bakes_a_day=day))
    options = (advice.chosen, *advice.others)
    assert len(options) > 1
    names = tell_apart(options)
    assert len(set(names)) == len(names), names
    for name, option in zip(names, options, strict=True):
        plan = option.plan
        assert name.partition(":")[0] == option.request.kind
        for count, what in re.findall(r"(\d+) (doses?|treatments?|days?|bakes?)\b", name):
            real = {
                "dose": len({run.settings["soda"] for run in plan.runs}) if "soda" in plan.runs[0].settings else 0,
                "treatment": len({tuple(run.settings.items()) for run in plan.runs}),
                "day": option.days,
                "bake": len(plan.runs),
            }
            assert real[what.removesuffix("s")] == int(count), name


def test_ladders_are_told_apart_by_doses_repeats_and_days_and_one_of_a_kind_by_nothing():
    advice = advise(Situation(aim="how much", factors=(SODA,), responses=(RISE,), bakes_a_day=8))
    ladders = [each for each in (advice.chosen, *advice.others) if each.request.kind == "dose ladder"]
    assert len(ladders) >= 3
    assert all(
        re.fullmatch(r"dose ladder: \d doses(, each (once|twice|\d+ times))?.*", name) for name in tell_apart(ladders)
    )
    assert tell_apart([advice.chosen]) == (advice.request.kind,)
