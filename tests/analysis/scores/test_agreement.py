"""Does the check of scores as numbers say when the scores themselves say something else?"""

from __future__ import annotations

from time import perf_counter

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.scores.agreement import second_opinion
from analysis.words import say_check

OVEN = (Factor(name="oven", kind="category", levels=("deck", "fan")),)


def checked(table, scale="score", factors=OVEN):
    question = Question(factors=factors, responses=(Response(name="crumb", scale=scale),))
    result = analyse(table, question).responses[0]
    return {check.check: check for check in result.checks}["scores as numbers"], result, question


def test_agreement_is_said():
    table = pd.DataFrame({"oven": ["deck", "fan"] * 12, "crumb": [1.0, 4, 2, 5, 2, 4, 1, 5, 3, 3, 2, 4] * 2})
    check, _, _ = checked(table)
    assert check.facts["agrees"] is True
    assert "same verdicts" in say_check(check)


def test_disagreement_names_the_factor_and_both_p():
    # One far score pulls the mean; the order of the scores knows nothing of how far.
    deck, fan = [1.0] * 9 + [9.0] * 3, [2.0] * 12
    table = pd.DataFrame({"oven": ["deck"] * 12 + ["fan"] * 12, "crumb": deck + fan})
    check, result, _ = checked(table)
    number = result.family.evidence[0].p
    assert number > 0.05
    assert check.facts["agrees"] is False
    ((name, own, told),) = check.facts["differ"]
    assert name == "oven"
    assert own < 0.05 < told == pytest.approx(number)
    assert "--kind score" in say_check(check)


def test_counts_and_yes_no_have_their_own_model():
    for scale, values in (("count", [2.0, 9, 3, 12, 1, 10]), ("yes-no", [0.0, 1, 0, 1, 1, 0])):
        table = pd.DataFrame({"oven": ["deck", "fan"] * 12, "crumb": values * 4})
        check, _, _ = checked(table, scale)
        assert check.facts["agrees"] is not None


def test_nothing_is_said_where_it_cannot_be_asked():
    chance = np.random.Generator(np.random.PCG64(1))
    table = pd.DataFrame({"oven": ["deck", "fan"] * 30, "crumb": chance.standard_normal(60)})
    check, _, _ = checked(table)
    assert check.facts == {"scale": "score", "agrees": None}


def test_it_costs_next_to_nothing():
    chance = np.random.Generator(np.random.PCG64(2))
    table = pd.DataFrame(
        {
            "soda": np.repeat([0.5, 1.0, 1.5, 2.0], 12),
            "acid": list("abc") * 16,
            "crumb": chance.integers(1, 6, 48) * 1.0,
        }
    )
    factors = (Factor(name="soda", kind="amount"), Factor(name="acid", kind="category"))
    _, result, question = checked(table, factors=factors)
    bakes = table.assign(acid=pd.Categorical(table["acid"]))
    times = []
    for _ in range(5):
        start = perf_counter()
        second_opinion(bakes, question.responses[0], question, result.family)
        times.append(perf_counter() - start)
    assert min(times) < 0.05
