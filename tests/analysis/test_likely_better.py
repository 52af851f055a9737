"""The proposed bakes are worth more than bakes at random, and are proposed only where they may pay."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from analysis.engine import analyse
from analysis.likely_better import WORTH, _gains, candidates_of, worthwhile
from analysis.predicting import Span
from analysis.questions import Factor, Question, Response

FACTORS = (Factor(name="soda", kind="amount", unit="% flour"), Factor(name="oven", kind="amount", unit="°C"))
SD = 2.5


def truth(table):
    return 40 - 5 * (table["soda"] - 1.4) ** 2 - 0.008 * (table["oven"] - 178) ** 2


def baked(seed, sd=SD):
    table = pd.DataFrame(
        [(soda, oven) for soda in (0.0, 1.0, 2.0) for oven in (150.0, 170.0, 190.0)] + [(1.0, 170.0)] * 3,
        columns=["soda", "oven"],
    )
    chance = np.random.Generator(np.random.PCG64(seed))
    return table.assign(rise=truth(table) + chance.normal(0, sd, len(table)))


def asked(goal="maximise", matters=1.0):
    return Question(
        factors=FACTORS,
        responses=(Response(name="rise", unit="mm", goal=goal, matters=matters),),
        kind="surface",
    )


def frame_of(treatments):
    return pd.DataFrame({name: treatments[name] for name in treatments.columns})


def chosen(table):
    """True rise of the treatment that would be chosen from these bakes."""
    predictor = analyse(table, asked()).responses[0].family.predictor
    grid = candidates_of(predictor.spans)
    return float(truth(grid.row(int(np.argmax(predictor.mean(grid))))))


def test_bakes_that_are_proposed_help_more_than_bakes_at_random():
    gained = {"proposed": [], "random": []}
    for seed in range(60):
        table = baked(seed)
        answer = analyse(table, asked()).responses[0]
        trials = worthwhile(answer.family.predictor, answer.response, seed=1)
        chance = np.random.Generator(np.random.PCG64(1000 + seed))
        grid = candidates_of(answer.family.predictor.spans)
        more = {
            "proposed": pd.DataFrame([trial.treatment for trial in trials]),
            "random": frame_of(grid).iloc[chance.choice(len(grid), len(trials), replace=False)].reset_index(drop=True),
        }
        before = chosen(table)
        for name, extra in more.items():
            noise = np.random.Generator(np.random.PCG64(5000 + seed)).normal(0, SD, len(extra))
            gained[name].append(chosen(pd.concat([table, extra.assign(rise=truth(extra) + noise)])) - before)
    assert np.mean(gained["proposed"]) > np.mean(gained["random"])
    assert np.mean(gained["proposed"]) > 0


def test_the_gain_that_is_promised_is_about_the_gain_that_comes():
    """Over draws from what the model holds possible, the promise of one bake is its mean gain."""
    table = baked(1)
    answer = analyse(table, asked()).responses[0]
    predictor = answer.family.predictor
    trial = worthwhile(predictor, answer.response, seed=1, most=1)[0]
    grid = candidates_of(predictor.spans)
    at = pd.DataFrame([trial.treatment])
    worlds = predictor.draws(pd.concat([frame_of(grid), at]), count=4000, seed=9)
    mean = worlds.mean(axis=0)
    around = worlds - mean
    pull = around.T @ around[:, -1] / len(worlds)
    noise = np.random.Generator(np.random.PCG64(2)).normal(0, predictor.sd, len(worlds))
    seen = worlds[:, -1] + noise - mean[-1]
    after = mean[:-1] + np.outer(seen, pull[:-1] / (pull[-1] + predictor.sd**2))
    best = worlds[np.arange(len(worlds)), np.argmax(after, axis=1)]
    now = worlds[:, int(np.argmax(mean[:-1]))]
    assert np.mean(best - now) == pytest.approx(trial.gain, abs=0.25 * trial.gain + 0.02)


def test_nothing_is_proposed_where_nothing_can_be_gained():
    clear = analyse(baked(1, sd=0.01), asked()).responses[0]
    assert all(bakes.why != "likely better" for bakes in clear.next_bakes)
    best = worthwhile(clear.family.predictor, clear.response, seed=1, most=1)[0]
    assert best.gain < WORTH * clear.response.matters


def test_without_a_goal_there_is_no_better():
    open_ended = analyse(baked(1, sd=6), asked(goal=None)).responses[0]
    assert all(bakes.why != "likely better" for bakes in open_ended.next_bakes)


def test_a_gain_worth_a_bake_is_proposed_inside_what_was_baked():
    found = [
        bakes
        for seed in range(12)
        for bakes in analyse(baked(seed, sd=8), asked()).responses[0].next_bakes
        if bakes.why == "likely better"
    ]
    assert found
    for bakes in found:
        assert bakes.facts["gain"] > WORTH
        assert all(0 <= one["soda"] <= 2 and 150 <= one["oven"] <= 190 for one in bakes.treatments)


def test_candidates_stay_few_with_many_factors():
    spans = {f"f{i}": Span(name=f"f{i}", low=0.0, high=1.0, baked=(0.0, 1.0)) for i in range(9)}
    assert len(candidates_of(spans)) <= 1500
    assert candidates_of({f"f{i}": spans["f0"] for i in range(12)}) is None


@pytest.mark.parametrize("apart", [0.0, 0.5, 1.5])
def test_the_gain_of_a_bake_is_the_published_formula(apart):
    """Independent beliefs: s f(-|difference| / s), f(z) = z Phi(z) + phi(z), s² = variance² / (variance + noise²).

    Source: Frazier, Powell & Dayanik 2009, INFORMS J. Computing 21:599, for beliefs without correlation.
    """
    variances, noise = np.array([4.0, 1.0]), 0.5
    spread = variances / np.sqrt(variances + noise)
    z = -apart / spread
    wanted = spread * (z * norm.cdf(z) + norm.pdf(z))
    got = _gains(np.array([10.0, 10.0 + apart]), np.diag(variances), noise)
    np.testing.assert_allclose(got, wanted, atol=0.02 * spread.max())
