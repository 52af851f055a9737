"""How much does an answer cost beyond the fits it rests on? Ratios within one run, printed with ``-s``.

A full analysis of four responses (bakes formed, families asked, checks, findings ranked, four goals weighed against
each other, next bakes) against the fits of the families alone on the same bakes: below twice. Processor time, since
other work on the machine would fall on the one or the other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import product
from time import process_time

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
        begun = process_time()
        call()
        found.append(process_time() - begun)
    return min(found)


@pytest.mark.parametrize(
    ("kind", "responses"),
    [
        ("factors", WITHOUT_GOALS),
        ("more factors", WITHOUT_GOALS),
        ("factors", RESPONSES),
        ("more factors", RESPONSES),
        ("dose", RESPONSES),
    ],
)
def test_an_answer_costs_little_beyond_its_fits(kind, responses):
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
    assert whole < 2 * alone
