"""Are the effects that trials have in common found, compared like with like, and said honestly?"""

from __future__ import annotations

import math

import jsonschema
import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.errors import NotPossible, TrialDataError
from analysis.pooling import TrialAnswer, pool_effects
from analysis.pooling.serialise import pooling_json, schema
from analysis.questions import Factor, Question, Response
from analysis.words.pooling import pooling_text, say_pooled

RISE = Response(name="rise", unit="mm", goal="maximise", matters=2)


def trial(
    name, seed, *, slope=3.0, shift=2.0, low=1.0, high=3.0, sd=1.0, unit="mm", levels=("lemon", "yogurt"), each=3
):
    """soda 1 to 3 raises rise by 2 slopes; yogurt by ``shift``."""
    chance = np.random.Generator(np.random.PCG64(seed))
    rows = [(dose, acid) for dose in (low, high) for acid in levels for _ in range(each)]
    table = pd.DataFrame(rows, columns=["soda", "acid"])
    mean = 30 + slope * table["soda"] + shift * table["acid"].map(levels.index)
    table["rise"] = mean + sd * chance.standard_normal(len(table))
    factors = (Factor(name="soda", kind="amount", unit="%"), Factor(name="acid", kind="category", levels=levels))
    asked = Question(factors=factors, responses=(Response(**{**vars(RISE), "unit": unit}),), kind="factors")
    return TrialAnswer(name=name, analysis=analyse(table, asked))


def pooled(*trials, **more):
    return {(one.factor, one.kind): one for one in pool_effects(trials, **more).effects}


def test_a_trials_own_estimate_is_the_difference_of_its_means():
    one, two = trial("spring", 1), trial("autumn", 2)
    effect = pooled(one, two)["soda", "amount"]
    # A balanced trial: mean of the high bakes minus that of the low ones, its error by the residual df of 12 - 4.
    bakes = pd.DataFrame([{**p.settings, "y": p.observed} for p in one.analysis.responses[0].family.points])
    by = bakes.groupby("soda")["y"].mean()
    assert effect.trials[0].estimate == pytest.approx(by[3.0] - by[1.0], rel=1e-9)
    sd = one.analysis.responses[0].family.residual.sd
    assert effect.trials[0].se == pytest.approx(sd * math.sqrt(2 / 6), rel=1e-9)
    assert (effect.first, effect.second, effect.unit) == ("1", "3", "mm")


def test_levels_are_compared_with_the_first_they_share():
    effect = pooled(trial("a", 1), trial("b", 2), trial("c", 3, levels=("yogurt", "lemon"), shift=-2.0))[
        "acid", "levels"
    ]
    assert (effect.first, effect.second) == ("yogurt", "lemon")
    assert effect.estimate == pytest.approx(2.0, abs=1.0)
    assert len(effect.trials) == 3


def test_other_ranges_are_compared_over_what_they_share_and_disjoint_ones_for_one_unit():
    effect = pooled(trial("a", 1, low=1, high=3), trial("b", 2, low=2, high=4))["soda", "amount"]
    assert (effect.first, effect.second) == ("2", "3")
    assert effect.estimate == pytest.approx(3.0, abs=1.5)
    effect = pooled(trial("a", 1, low=1, high=3), trial("b", 2, low=4, high=8))["soda", "slope"]
    assert effect.estimate == pytest.approx(3.0, abs=1.0)
    assert effect.matters_size is None


def test_two_trials_are_honest_about_what_they_do_not_know():
    pooling = pool_effects([trial("a", 1), trial("b", 2)], factors=["soda"])
    (effect,) = pooling.effects
    assert effect.next_low is None
    assert effect.reasons["next"]
    assert effect.high - effect.low > effect.common_high - effect.common_low
    said = " ".join(say_pooled(effect, 0.95))
    assert "hardly known" in said
    assert "Two trials cannot say what a third would bring" in said
    assert "If trials did not differ at all" in said


def test_what_was_learnt_is_told_in_order():
    effect = pooled(*(trial(f"t{at}", at, sd=1.2) for at in range(1, 7)))["soda", "amount"]
    assert [step.trials for step in effect.steps] == [1, 2, 3, 4, 5, 6]
    assert effect.steps[-1].estimate == pytest.approx(effect.estimate)
    assert effect.steps[-1].matters == effect.matters == "yes"
    assert any("stands since" in said for said in say_pooled(effect, 0.95))


def test_a_trial_that_contradicts_is_named():
    trials = [trial(f"t{at}", at) for at in range(1, 7)]
    effect = pooled(*trials, trial("odd one", 20, slope=-3.0))["soda", "amount"]
    assert [one.trial for one in effect.apart] == ["odd one"]
    assert {pair[1] for pair in effect.opposed} == {"odd one"}
    said = " ".join(say_pooled(effect, 0.95))
    assert "Odd one stands apart" in said
    assert "contradict each other" in said


def test_other_units_are_refused_in_words():
    with pytest.raises(TrialDataError, match='rise is measured in mm in "a" but in cm in "b"'):
        pool_effects([trial("a", 1), trial("b", 2, unit="cm")])


def test_one_trial_and_nothing_in_common_are_refused():
    with pytest.raises(NotPossible, match="One trial alone"):
        pool_effects([trial("a", 1)])
    with pytest.raises(TrialDataError, match='No trial has a factor "heat"'):
        pool_effects([trial("a", 1), trial("b", 2)], factors=["heat"])
    with pytest.raises(NotPossible, match="no factor and response in common"):
        pool_effects([trial("a", 1), TrialAnswer(name="b", analysis=_other())])


def _other():
    table = pd.DataFrame({"heat": [1.0, 1, 2, 2, 3, 3], "crumb": [1.0, 2, 3, 4, 5, 7]})
    return analyse(table, Question(factors=(Factor(name="heat", kind="amount"),), responses=(Response(name="crumb"),)))


def test_best_doses_of_curves_are_pooled():
    def curve(name, seed, best):
        chance = np.random.Generator(np.random.PCG64(seed))
        dose = np.repeat([0.0, 1, 2, 3, 4, 5], 3)
        table = pd.DataFrame({"soda": dose, "rise": 50 - 2 * (dose - best) ** 2 + chance.standard_normal(len(dose))})
        asked = Question(factors=(Factor(name="soda", kind="amount", unit="%"),), responses=(RISE,), dose="soda")
        return TrialAnswer(name=name, analysis=analyse(table, asked))

    effects = pooled(curve("a", 1, 2.4), curve("b", 2, 2.6), curve("c", 3, 2.5))
    effect = effects["soda", "best dose"]
    assert effect.unit == "%"
    assert effect.estimate == pytest.approx(2.5, abs=0.2)
    assert effect.p is None
    assert effect.low < 2.5 < effect.high


def test_words_and_json_are_sound():
    pooling = pool_effects([trial(f"t{at}", at) for at in range(1, 5)])
    document = pooling_json(pooling)
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.validate(document, schema())
    text = pooling_text(pooling)
    assert "Over 4 trials, soda from 1 to 3 % comes to" in text
    for word in ("significan", "nan", "None", "no difference"):
        assert word not in text
    assert max(map(len, text.splitlines())) <= 100
