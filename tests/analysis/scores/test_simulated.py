"""Do tests of scores keep their five percent, and do intervals cover the truth?

A small run in every test; CRUMBWISE_LARGE=1 draws 2,000 of each and holds 5 ± 1.5 % and 93 to 97 %.
Truth of the covering: the expected score by the true chances.
"""

from __future__ import annotations

import os

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from analysis.questions import Factor, Question, Response
from analysis.scores.asking import fitted
from analysis.scores.evidence import evidence
from analysis.scores.model import coefficients
from analysis.scores.readings import readings_of
from analysis.scores.testing import term_tests

LARGE = os.environ.get("CRUMBWISE_LARGE") == "1"
EDGES = np.array([-2.0, -0.7, 0.7, 2.0])
CRUMB = Response(name="crumb", scale="score")


def bakes(kind):
    """(frame, question, groups of the truth) of a design with 24 bakes, or 10 assessors and 3 products."""
    if kind == "two levels":
        frame = pd.DataFrame({"oven": ["deck", "fan"] * 12})
        return frame, ("oven",), None
    if kind == "four levels":
        return pd.DataFrame({"oven": list("abcd") * 6}), ("oven",), None
    if kind == "two factors":
        return (
            pd.DataFrame({"oven": ["deck", "fan"] * 12, "flour": ["rye"] * 12 + ["wheat"] * 12}),
            ("oven", "flour"),
            None,
        )
    frame = pd.DataFrame({"oven": list("abc") * 10, "assessor": [f"a{i}" for i in range(10) for _ in range(3)]})
    return frame, ("oven",), "assessor"


def ask(frame, names, group):
    factors = tuple(Factor(name=name, kind="category") for name in names)
    question = Question(
        factors=factors, responses=(CRUMB,), kind="score", model="main effects", group=(group,) if group else ()
    )
    return fitted(readings_of(frame, CRUMB, question), CRUMB, question)


def drawn(chance, frame, group, effect=0.0):
    hidden = effect * (frame["oven"] == sorted(set(frame["oven"]))[-1]).to_numpy() + chance.logistic(size=len(frame))
    if group:
        codes = pd.factorize(frame[group])[0]
        hidden = hidden + chance.standard_normal(codes.max() + 1)[codes]
    return frame.assign(crumb=1.0 + np.digitize(hidden, EDGES))


@pytest.mark.parametrize("kind", ["two levels", "four levels", "two factors", "assessors"])
def test_false_alarms_stay_at_five_percent(kind):
    count = 2000 if LARGE else 120 if kind != "assessors" else 24
    chance = np.random.Generator(np.random.PCG64(25))
    frame, names, group = bakes(kind)
    alarms = [term_tests(ask(drawn(chance, frame, group), names, group))[0].p < 0.05 for _ in range(count)]
    rate = float(np.mean(alarms))
    half = 0.015 if LARGE else 3.5 * np.sqrt(0.05 * 0.95 / count)
    print(f"{kind}: {rate:.3f} of {count}")
    assert abs(rate - 0.05) <= half


def test_intervals_of_expected_scores_cover_the_truth():
    count = 2000 if LARGE else 150
    chance = np.random.Generator(np.random.PCG64(26))
    frame = bakes("two levels")[0]
    cumulative = expit(EDGES[None, :] - np.array([0.0, 1.0])[:, None])
    truth = float(np.diff(5 - cumulative.sum(axis=1))[0])
    hits = []
    for _ in range(count):
        model = ask(drawn(chance, frame, None, effect=1.0), ("oven",), None)
        found = evidence(model, {}, ())[0]
        hits.append(found.low <= truth <= found.high)
    share = float(np.mean(hits))
    print(f"coverage {share:.3f} of {count}")
    assert abs(share - 0.95) <= (0.02 if LARGE else 3.5 * np.sqrt(0.05 * 0.95 / count))


def test_counts_that_scatter_more_than_counting_are_covered():
    """Negative binomial truths, read by quasi-likelihood: a factor on the errors is enough."""
    count = 1500 if LARGE else 100
    frame = pd.DataFrame({"oven": ["deck", "fan"] * 10})
    blisters = Response(name="blisters", scale="count")
    question = Question(factors=(Factor(name="oven", kind="category"),), responses=(blisters,), kind="score")
    means = np.where(frame["oven"] == "fan", 8.0, 4.0)
    for size in (1.5, 6.0):
        chance = np.random.Generator(np.random.PCG64(31))
        hits = []
        for _ in range(count):
            drawn_counts = chance.poisson(means * chance.gamma(size, 1 / size, len(frame))).astype(float)
            model = fitted(readings_of(frame.assign(blisters=drawn_counts), blisters, question), blisters, question)
            found = coefficients(model, {})[-1]
            hits.append(found.low <= np.log(2.0) <= found.high)
        share = float(np.mean(hits))
        print(f"counts of size {size}: {share:.3f} of {count}")
        assert abs(share - 0.95) <= (0.02 if LARGE else 3.5 * np.sqrt(0.05 * 0.95 / count))


def test_a_true_effect_is_found():
    chance = np.random.Generator(np.random.PCG64(27))
    frame, names, group = bakes("assessors")
    found = [term_tests(ask(drawn(chance, frame, group, effect=4.0), names, group))[0].p for _ in range(10)]
    assert sum(p < 0.05 for p in found) >= 9
