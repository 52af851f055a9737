"""The treatment an answer calls the best is baked before anything else, and no advice speaks against it."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.results import Analysis
from analysis.words import say_next

FACTORS = (Factor(name="soda", kind="amount", unit="%"), Factor(name="oven", kind="amount", unit="°C"))
RISE = Response(name="rise", unit="mm", goal="maximise", matters=1.0)
PH = Response(name="pH", goal="target", target=7.2, matters=0.1, accept=(7.0, 7.4))


def asked(*responses: Response, top: tuple[float, float] = (1.2, 184.0), joint: float = 0.15) -> Analysis:
    """A hill over soda and oven whose two slopes depend on each other by ``joint`` mm per % and degree."""
    table = pd.DataFrame(list(product((0.0, 1.0, 2.0), (160.0, 180.0, 200.0))) * 2, columns=["soda", "oven"])
    chance = np.random.Generator(np.random.PCG64(5))
    soda, oven = table["soda"] - top[0], table["oven"] - top[1]
    table["rise"] = 50 - 6 * soda**2 - 0.01 * oven**2 + joint * soda * oven + chance.normal(0, 0.4, len(table))
    table["pH"] = 6.4 + 0.7 * table["soda"] + chance.normal(0, 0.03, len(table))
    return analyse(table, Question(factors=FACTORS, responses=responses, kind="surface"))


def test_the_top_of_a_surface_is_baked_first_with_what_is_foretold():
    result = asked(RISE).responses[0]
    surface = next(part for part in result.family.parts if part.key == "surface")
    first = result.next_bakes[0]
    assert first.why == "bake the best"
    assert abs(first.treatments[0]["soda"] - surface.best["soda"]) < 0.006
    assert (first.facts["low"], first.facts["high"]) == (surface.new_low, surface.new_high)
    assert first.facts["low"] < first.facts["expected"] < first.facts["high"]
    assert "not baked yet" in say_next(first)


def test_a_surface_whose_slopes_depend_on_each_other_is_not_chosen_amount_by_amount():
    result = asked(RISE).responses[0]
    assert any(finding.kind == "interaction" and finding.matters == "yes" for finding in result.findings)
    assert {"interaction", "climb"}.isdisjoint(bakes.why for bakes in result.next_bakes)
    without = asked(Response(name="rise", unit="mm", matters=1.0)).responses[0]  # no goal, no best to confirm
    assert "interaction" in {bakes.why for bakes in without.next_bakes}


def test_a_best_at_the_edge_is_gone_on_from():
    reasons = [bakes.why for bakes in asked(RISE, top=(3.0, 184.0)).responses[0].next_bakes]
    assert reasons[0] == "climb"
    assert "bake the best" not in reasons


def test_a_best_that_was_baked_twice_needs_no_confirmation():
    table = pd.DataFrame(list(product((0.0, 1.0, 2.0), (160.0, 180.0, 200.0))) * 2, columns=["soda", "oven"])
    noise = np.tile([0.3, -0.3], 9)
    table["rise"] = 50 - 6 * (table["soda"] - 1) ** 2 - 0.01 * (table["oven"] - 180) ** 2
    first, second = table.iloc[:9].copy(), table.iloc[9:].copy()
    first["rise"] += noise[:9]
    second["rise"] -= noise[:9]
    answer = analyse(pd.concat([first, second]), Question(factors=FACTORS, responses=(RISE,), kind="surface"))
    assert "bake the best" not in {bakes.why for bakes in answer.responses[0].next_bakes}


def test_what_serves_all_goals_is_baked_before_the_best_of_each():
    analysis = asked(RISE, PH)
    goals = next(part for part in analysis.parts if part.key == "goals")
    reasons = [bakes.why for result in analysis.responses for bakes in result.next_bakes]
    assert reasons[0] == "bake for all goals"
    assert "bake the best" not in reasons
    first = analysis.responses[0].next_bakes[0]
    assert abs(first.treatments[0]["soda"] - goals.best.settings["soda"]) < 0.006
    assert "rise" in say_next(first)
    assert "pH" in say_next(first)
