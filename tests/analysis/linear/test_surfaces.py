"""A model with bends: what enters it, where it is judged, and what it falls back to."""

from itertools import product

import numpy as np
import pytest

from analysis.words import say_check


def checks(result):
    return {check.check: check for check in result.checks}


def composite(axial=1.5, centre=4):
    corners = list(product((-1.0, 1.0), repeat=2))
    stars = [(-axial, 0.0), (axial, 0.0), (0.0, -axial), (0.0, axial)]
    return np.array([*corners, *stars, *[(0.0, 0.0)] * centre])


def readings(x, seed=1, sd=0.1):
    noise = np.random.Generator(np.random.PCG64(seed)).normal(0, sd, len(x))
    return 50 + 3 * x[:, 0] - 2 * x[:, 1] - 4 * x[:, 0] ** 2 + 2 * x[:, 0] * x[:, 1] + noise


def test_the_change_of_an_effect_runs_between_the_corners_that_were_baked(answer):
    x = composite()
    found = answer({"a": x[:, 0], "b": x[:, 1], "y": readings(x)}, amounts=["a", "b"], model="quadratic")
    change = next(f for f in found.evidence if f.kind == "interaction")
    assert (change.facts["from"], change.facts["to"], change.facts["by_from"], change.facts["by_to"]) == (
        "-1",
        "1",
        "-1",
        "1",
    )
    assert change.size == pytest.approx(2 * 2 * 2, abs=0.5)
    effect = next(f for f in found.evidence if f.kind == "effect" and f.variables == ("a",))
    assert effect.size == pytest.approx(3 * 3, abs=0.5)  # from star point to star point
    bend = next(f for f in found.evidence if f.kind == "bend" and f.variables == ("a",))
    assert bend.size == pytest.approx(4 * 1.5**2, abs=0.5)


def test_bends_in_the_model_are_not_looked_for_again(answer):
    x = composite()
    columns = {"a": x[:, 0], "b": x[:, 1], "y": readings(x)}
    assert "curvature" not in checks(answer(columns, amounts=["a", "b"], model="quadratic"))
    looked_at = [check for check in answer(columns, amounts=["a", "b"]).checks if check.check == "curvature"]
    assert [check.facts["factor"] for check in looked_at if check.verdict == "look here"] == ["a"]


def test_a_surface_that_misses_says_so(answer):
    x = composite()
    y = readings(x) + 3 * x[:, 0] ** 2 * x[:, 1] ** 2
    lack = checks(answer({"a": x[:, 0], "b": x[:, 1], "y": y}, amounts=["a", "b"], model="quadratic"))["lack of fit"]
    assert lack.verdict != "fine"
    assert "surface" in say_check(lack)


def test_squares_and_categories_stand_together(answer):
    soda, acid = np.repeat([1.0, 2.0, 3.0, 1.0, 2.0, 3.0], 3), np.repeat(["yogurt", "lemon"], 9)
    y = readings(np.column_stack([soda - 2, acid == "lemon"]).astype(float))
    found = answer({"soda": soda, "acid": acid, "y": y}, amounts=["soda"], categories=["acid"], model="quadratic")
    assert found.model.terms == ("soda", "acid", "soda^2", "soda:acid")
    assert found.residual.df == 18 - 5


def test_a_bend_of_what_is_set_for_whole_plots_is_judged_between_them(answer):
    rng = np.random.Generator(np.random.PCG64(5))
    plots = [(oven, plot) for plot in range(3) for oven in (160.0, 180.0, 200.0)]
    rows = [(oven, soda, f"{oven:g}/{plot}") for oven, plot in plots for soda in (1.0, 2.0, 3.0)]
    oven, soda, load = (list(column) for column in zip(*rows, strict=True))
    columns = {"oven": oven, "soda": soda, "load": load, "y": rng.normal(50, 1, len(rows))}
    found = answer(columns, amounts=["oven", "soda"], model="quadratic", group=("load",))
    strata = {test.term: (test.stratum, test.df_error) for test in found.tests}
    # 9 whole plots less mean, oven, oven^2; 27 bakes less 9 plots, soda, soda^2, oven:soda.
    assert strata["oven"] == strata["oven^2"] == ("load", 6)
    assert strata["soda"] == strata["soda^2"] == strata["oven:soda"] == ("bakes", 15)


def test_more_blocks_than_treatments_tell_are_no_stumble(answer):
    # A Graeco-Latin square asked for a surface: treatments and blocks say the same columns twice.
    rows = [(i, j, (i + j) % 5, (i + 2 * j) % 5) for i, j in product(range(5), repeat=2)]
    columns = dict(zip(["shelf", "turn", "acid", "tin"], zip(*rows, strict=True), strict=True))
    columns["y"] = np.random.Generator(np.random.PCG64(6)).normal(50, 1, 25)
    found = answer(columns, categories=["acid", "tin"], blocks=("shelf", "turn"), model="quadratic")
    assert found.residual.df == (5 - 3) * (5 - 1)
    assert checks(found)["lack of fit"].facts["tested"] is False


def test_too_few_bakes_for_bends_are_judged_by_what_is_left(answer):
    x = composite(centre=1)[:9]
    found = answer({"a": x[:6, 0], "b": x[:6, 1], "y": readings(x)[:6]}, amounts=["a", "b"], model="quadratic")
    dropped = checks(found)["dropped terms"]
    assert found.residual.df > 0
    assert dropped.facts["terms"]
    assert "left out of the model" in say_check(dropped)
