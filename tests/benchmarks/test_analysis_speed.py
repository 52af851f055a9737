"""How much does an answer cost beyond the fits it rests on? Ratios within one run, printed with ``-s``.

A full analysis of four responses (bakes formed, families asked, checks, findings ranked, next bakes)
against the fits of the families alone on the same bakes: below twice. Weighing four goals against each other
and looking for better treatments are searches of their own, which cost some 20 ms whatever the fits cost: beside
curves they hardly show, beside four factorials of 18 or 54 bakes the whole comes to 2 to 2.6 times the fits, which
is printed and held below 3.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import product
from time import perf_counter

import numpy as np
import pandas as pd
import pytest

from analysis.bakes import bake_table
from analysis.dose_response import dose_model
from analysis.engine import analyse
from analysis.linear import factor_model
from analysis.questions import Factor, Question, Response

ACIDS = ("lemon juice", "yogurt", "cream of tartar")
RESPONSES = tuple(
    Response(name=name, unit="mm", goal="maximise", matters=2.0) for name in ("rise", "width", "crumb", "crust")
)
WITHOUT_GOALS = tuple(replace(response, goal=None) for response in RESPONSES)
LEVELS = {"factors": (0.5, 2.0), "more factors": (0.5, 1.0, 1.5), "dose": (0.5, 1.0, 1.5, 2.0, 2.5)}
OVENS = (180.0, 170.0, 190.0)
TIMES = 5


def _table(levels: tuple[float, ...], ovens: tuple[float, ...] = (180.0,)) -> pd.DataFrame:
    days = ("Mon", "Tue", "Wed") if len(ovens) == 1 else ("Mon", "Tue")
    table = pd.DataFrame(list(product(levels, ovens, ACIDS, days)), columns=["soda", "oven", "acid", "day"])
    chance = np.random.Generator(np.random.PCG64(1))
    for response in RESPONSES:
        table[response.name] = 40 - 6 * (table["soda"] - 1.4) ** 2 + chance.normal(0, 1.2, len(table))
    return table


def _least(call: Callable[[], object]) -> float:
    call()
    found = []
    for _ in range(TIMES):
        begun = perf_counter()
        call()
        found.append(perf_counter() - begun)
    return min(found)


@pytest.mark.parametrize(
    ("kind", "responses", "held"),
    [
        ("factors", WITHOUT_GOALS, 2),
        ("more factors", WITHOUT_GOALS, 2),
        ("factors", RESPONSES, 3),
        ("more factors", RESPONSES, 3),
        ("dose", RESPONSES, 2),
    ],
)
def test_an_answer_costs_little_beyond_its_fits(kind, responses, held):
    more = kind == "more factors"
    table = _table(LEVELS[kind], OVENS if more else OVENS[:1])
    factors = (Factor(name="soda", kind="amount", unit="%"), Factor(name="acid", kind="category", levels=ACIDS))
    factors += (Factor(name="oven", kind="amount", unit="°C"),) if more else ()
    question = Question(
        factors=factors, responses=responses, blocks=("day",), kind="dose" if kind == "dose" else "factors"
    )
    bakes = {one.name: bake_table(table, one, question).bakes for one in responses}

    def fits() -> None:
        for one in responses:
            if kind == "dose":
                dose_model(bakes[one.name], one, question, dose="soda", by="acid")
            else:
                factor_model(bakes[one.name], one, question)

    alone, whole = _least(fits), _least(lambda: analyse(table, question))
    goals = "four goals" if responses[0].goal else "no goals"
    print(f"\n{kind}, {goals}: {1000 * whole:.0f} ms, fits {1000 * alone:.0f} ms, ratio {whole / alone:.2f}")
    assert whole < held * alone
