"""On a scale of logarithms an interaction is a ratio of ratios, and is said in times."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.words import analysis_text

FACTORS = (Factor(name="soda", kind="category"), Factor(name="acid", kind="category"))


def answer(further: float):
    """Soda doubles the rise; with the acid that gives ten times as much, ``further`` times that."""
    chance = np.random.Generator(np.random.PCG64(2))
    table = pd.DataFrame(list(product(("low", "high"), ("x", "y"))) * 6, columns=["soda", "acid"])
    high, y = (table["soda"] == "high").to_numpy(), (table["acid"] == "y").to_numpy()
    logs = np.log(10) + np.log(2) * high + np.log(10) * y + np.log(further) * (high & y)
    table["rise"] = np.exp(logs + chance.normal(0, 0.05, len(table)))
    response = Response(name="rise", unit="mm", matters=3.0)
    return analyse(table, Question(factors=FACTORS, responses=(response,), order=2, transform="log"))


def test_equal_ratios_are_no_interaction_though_the_differences_in_mm_are():
    analysis = answer(1.0)
    joint = next(finding for finding in analysis.findings if finding.kind == "interaction")
    assert joint.matters == "unsure"
    assert joint.facts["times"][1] < 1 < joint.facts["times"][2]
    said = " ".join(analysis_text(analysis).split())
    assert "cannot tell whether the ratio by which" in said
    assert "depends on" not in said.split("What was found")[0]


def test_ratios_that_differ_are_said_in_times():
    analysis = answer(1.5)
    joint = next(finding for finding in analysis.findings if finding.kind == "interaction")
    assert joint.matters == "yes"
    size, low, high = joint.facts["times"]
    assert low < 1.5 < high or low < 1 / 1.5 < high
    assert abs(np.log(joint.facts["effect_at_to"] / joint.facts["effect_at_from"]) - np.log(size)) < 1e-9
    said = " ".join(analysis_text(analysis).split())
    assert "times with" in said
    assert "times the other (95 % interval" in said
