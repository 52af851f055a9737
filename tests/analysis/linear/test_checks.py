"""Does each check speak up when it should, and keep still when not?"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.words.checks import say_check


def checks(result):
    return {check.check: check for check in result.checks}


@pytest.fixture
def sound():
    """24 bakes in random order: soda 1, 2, 3 by two acids, four replicates."""
    rng = np.random.default_rng(12)
    soda, acid = np.tile([1.0, 2.0, 3.0], 8), np.repeat(["yogurt", "lemon"], 12)
    y = 20 + 4 * soda + 3 * (acid == "lemon") + rng.normal(size=24)
    return {"soda": soda, "acid": acid, "y": y, "order": rng.permutation(24) + 1}


def ask(answer, columns, **asked):
    return checks(answer(columns, amounts=["soda"], categories=["acid"], **asked))


def test_a_sound_trial_raises_nothing(answer, sound):
    found = ask(answer, sound, bake="bake")
    assert {name: check.verdict for name, check in found.items()} == dict.fromkeys(
        [
            *("evenness", "few error df", "curvature", "spread", "odd bakes", "order"),
            *("neighbours", "transformation", "normality", "influence", "lack of fit"),
        ],
        "fine",
    )


def test_replicates_without_a_name_for_a_bake_are_asked_about(answer, sound):
    assert ask(answer, sound)["experimental unit"].verdict == "look here"


def test_an_odd_bake_is_named(answer, sound):
    sound["y"][7] += 15
    check = ask(answer, sound)["odd bakes"]
    assert check.verdict == "look here"
    assert check.facts["bakes"] == ("8",)


def test_studentised_residuals_agree_with_leaving_the_bake_out(answer, sound):
    # The externally studentised residual is the t of a variable that belongs to that bake alone.
    check = ask(answer, {**sound, "y": sound["y"] + 4.0 * (np.arange(24) == 7)})["odd bakes"]
    bend = np.arange(24) == 7
    x = np.column_stack(
        [np.ones(24), sound["soda"], sound["acid"] == "lemon", bend, sound["soda"] * (sound["acid"] == "lemon")]
    )
    y = sound["y"] + 4.0 * bend
    coefficients, rss, *_ = np.linalg.lstsq(x, y, rcond=None)
    se = np.sqrt(rss[0] / 19 * np.linalg.inv(x.T @ x)[3, 3])
    from scipy import stats

    assert check.facts["p"] == pytest.approx(24 * 2 * stats.t.sf(abs(coefficients[3] / se), 19), rel=1e-6)


def test_a_drift_over_the_day_is_seen(answer, sound):
    sound["y"] = sound["y"] + 0.4 * sound["order"]
    check = ask(answer, sound)["order"]
    assert check.verdict == "look here"
    assert check.facts["drift"] == pytest.approx(0.4 * 23, rel=0.3)


def test_a_drift_within_blocks_is_said_for_one_block_and_not_for_all(answer, sound):
    """What drifts from day to day has gone into the days: least squares times the 11 steps of one."""
    sound["day"] = np.where(sound["order"] > 12, "two", "one")
    sound["y"] = sound["y"] + 0.4 * sound["order"]
    check = ask(answer, sound, blocks=("day",))["order"]
    assert check.facts["within"] == "day"
    lemon = sound["acid"] == "lemon"
    columns = (np.ones(24), sound["soda"], lemon, sound["soda"] * lemon, sound["day"] == "two", sound["order"])
    slope = np.linalg.lstsq(np.column_stack(columns).astype(float), sound["y"], rcond=None)[0][-1]
    assert check.facts["drift"] == pytest.approx(11 * slope)


def test_unequal_scatter_that_is_allowed_for_is_no_alarm(sound):
    wide = np.where(sound["acid"] == "lemon", 8.0, 0.3)
    sound["y"] = 20 + 4 * sound["soda"] + wide * np.random.default_rng(5).normal(size=24)
    factors = (Factor(name="soda", kind="category"), Factor(name="acid", kind="category"))
    alike = Question(factors=factors, responses=(Response(name="y"),))
    seen, allowed = (
        checks(analyse(pd.DataFrame(sound), question).responses[0].family)["spread"]
        for question in (alike, replace(alike, unequal_spread=True))
    )
    assert (seen.verdict, allowed.verdict) == ("look here", "fine")
    assert allowed.facts["p"] == seen.facts["p"]
    assert say_check(allowed).endswith("the intervals here allow for that.")


def test_unequal_scatter_is_seen(answer, sound):
    middle = 20 + 4 * sound["soda"]
    wide = np.where(sound["acid"] == "lemon", 8.0, 0.3)
    sound["y"] = middle + wide * np.random.default_rng(5).normal(size=24)
    assert ask(answer, sound)["spread"].verdict == "look here"


def test_like_bakes_that_give_the_same_leave_no_spread_to_compare_but_show_the_bend(answer, sound):
    columns = {"soda": sound["soda"], "y": 3 * sound["soda"] ** 2}
    found = checks(answer(columns, amounts=["soda"]))
    assert "spread" not in found
    assert found["curvature"].verdict == "look here"
    assert found["curvature"].facts["p"] == 0


def test_a_bend_is_seen(answer, sound):
    sound["y"] = sound["y"] - 6 * (sound["soda"] - 2) ** 2
    result = answer(sound, amounts=["soda"], categories=["acid"])
    assert checks(result)["curvature"].verdict == "look here"
    assert next(f for f in result.evidence if f.variables == ("soda",)).facts["curvature_p"] < 0.001


@pytest.mark.parametrize(("bakes", "verdict"), [(4, "do not rely"), (6, "look here"), (8, "fine")])
def test_few_error_df(answer, bakes, verdict):
    columns = {"soda": [1.0, 2.0] * (bakes // 2), "y": np.random.default_rng(bakes).normal(size=bakes)}
    check = checks(answer(columns, amounts=["soda"]))["few error df"]
    assert (check.verdict, check.facts["df_error"]) == (verdict, bakes - 2)


def test_an_oven_that_was_set_twice_is_a_whole_plot(answer):
    rng = np.random.default_rng(3)
    oven = np.repeat([180.0, 200.0], 8)
    flour = np.array(list("abbabaabbbaababa"))
    columns = {"oven": oven, "flour": flour, "y": rng.normal(size=16)}
    found = checks(answer(columns, amounts=["oven"], categories=["flour"]))
    assert found["whole plot"].facts == {"factor": "oven", "because": "not reset", "levels": 2}


def test_a_sorted_table_is_not_taken_for_a_day_of_baking(answer):
    columns = {"oven": np.repeat([180.0, 200.0], 8), "flour": np.tile(np.repeat(["a", "b"], 4), 2)}
    columns["y"] = np.random.default_rng(3).normal(size=16)
    found = checks(answer(columns, amounts=["oven"], categories=["flour"]))
    assert "whole plot" not in found
    assert found["order"].facts == {"tested": False}


def test_types_two_and_three_that_disagree_are_pointed_out(answer):
    rng = np.random.default_rng(0)
    a = np.array(list("x" * 12 + "z" * 8))
    b = np.array(list("p" * 11 + "q" + "p" * 2 + "q" * 6))
    for seed in range(200):
        y = np.random.default_rng(seed).normal(size=20) + 1.3 * (a == "z") + 1.2 * (a == "z") * (b == "q")
        result = answer({"a": a, "b": b, "y": y, "order": rng.permutation(20)}, categories=["a", "b"])
        third = answer({"a": a, "b": b, "y": y}, categories=["a", "b"], squares=3)
        p2, p3 = result.tests[0].p, third.tests[0].p
        p2b, p3b = result.tests[1].p, third.tests[1].p
        apart = [min(u, v) < 0.05 and max(u, v) > 0.1 for u, v in ((p2, p3), (p2b, p3b))]
        assert ("sums of squares differ" in checks(result)) == any(apart)
        if any(apart):
            return
    pytest.fail("no seed gave a disagreement to look at")
