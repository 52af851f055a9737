"""The surface of a spreadsheet through the command, against the books and against R.

Sources: the 13-run central composite of Montgomery, Design and Analysis of Experiments, ch. 11, and a made-up
Box-Behnken, with canonical analysis by R 4.2.2 (figures in their JSON); a saddle, a rising ridge, a composite in
blocks and two ovens by ``response_surface/surfaces.R``.
"""

import json
from pathlib import Path

import jsonschema
import pytest

from analysis.serialise import schema

FOLDER = Path(__file__).parents[2] / "published" / "response_surface"


def figures(case):
    return json.loads((FOLDER / f"{case}.json").read_text())


@pytest.fixture
def surface(crumbwise):
    def run(case, response, amounts, *more):
        named = [word for name in amounts for word in ("--factor", f"{name}:amount")]
        ran = crumbwise(
            "analyse", FOLDER / f"{case}.csv", "--response", response, *named, "--kind", "surface", *more, "--json"
        )
        assert ran.code == 0, ran.err
        jsonschema.validate(ran.document, schema())
        return ran.document["responses"][0]

    return run


@pytest.mark.parametrize(
    ("case", "response", "amounts", "digits"),
    [
        ("ccd_yield_13run", "yield", ["x1", "x2"], 1e-7),
        ("bbd_loaf_volume", "volume", ["hydration", "mix_min", "proof_min"], 1e-6),
    ],
)
def test_the_canonical_analysis_is_the_published_one(surface, case, response, amounts, digits):
    expected = figures(case)["expected"]
    found, canonical = surface(case, response, amounts)["surface"], expected["canonical"]
    assert found["stationary"] == pytest.approx(canonical["stationary"], rel=digits)
    assert found["stationary_response"] == pytest.approx(canonical["y_stationary"], rel=digits)
    assert found["eigenvalues"] == pytest.approx(canonical["eigenvalues"], rel=digits)
    assert found["shape"] == found["signs"] == canonical["nature"]
    for axis, vector in zip(found["axes"], canonical["eigenvectors"], strict=True):
        assert axis["direction"] == pytest.approx(vector, rel=1e-5)
    terms = {term["term"]: term for term in found["coefficients"]}
    for name, line in expected["coef"].items():
        term = terms["intercept" if name == "(Intercept)" else name.removeprefix("I(").removesuffix(")")]
        assert term["coded"] == pytest.approx(line["Estimate"], rel=digits)
        assert term["coded_se"] == pytest.approx(line["Std. Error"], rel=digits)
    tests = {test["term"]: test for test in found["tests"]}
    for name, key in (("first order", "first_order"), ("pairs", "two_way"), ("bends", "pure_quadratic")):
        assert tests[name]["df"] == expected[key]["df"]
        assert tests[name]["value"] == pytest.approx(expected[key]["F"], rel=1e-6)
        assert tests[name]["p"] == pytest.approx(expected[key]["p"], rel=1e-5)
    lack = expected["lack_of_fit"]
    assert (tests["lack of fit"]["df"], tests["lack of fit"]["df_error"]) == (lack["df"], lack["pure_df"])
    assert tests["lack of fit"]["value"] == pytest.approx(lack["F"], rel=1e-6)
    # The top lies inside what was baked, so that it is the best.
    assert found["best"] == pytest.approx(canonical["stationary"], rel=digits)
    assert found["best_response"] == pytest.approx(canonical["y_stationary"], rel=digits)
    assert found["low"] < found["best_response"] < found["high"]
    assert not found["edge"]


def test_a_saddle_in_real_units_is_no_optimum(surface):
    found, expected = surface("saddle_soda_oven", "rise", ["soda", "oven"])["surface"], figures("saddle_soda_oven")
    assert list(found["stationary"].values()) == pytest.approx(expected["stationary"], rel=1e-6)
    # The file rounds star points to six decimals, R took them as they stand there.
    assert found["eigenvalues"] == pytest.approx(expected["eigenvalues"], rel=1e-6)
    assert found["shape"] == expected["nature"]
    level = [found[key] for key in ("stationary_response", "stationary_low", "stationary_high")]
    assert level == pytest.approx(expected["at_stationary"], rel=1e-6)
    assert found["edge"]
    assert found["best_response"] > found["stationary_response"] + 3
    assert any("saddle" in sentence for sentence in found["words"])
    assert any("beyond that edge" in sentence for sentence in found["words"])


def test_a_rising_ridge_is_best_at_the_edge_of_what_was_baked(surface):
    found, expected = surface("rising_ridge", "y", ["x1", "x2", "x3"])["surface"], figures("rising_ridge")
    assert list(found["stationary"].values()) == pytest.approx(expected["stationary"], rel=1e-6)
    assert found["eigenvalues"] == pytest.approx(expected["eigenvalues"], rel=1e-6)
    assert found["shape"] == expected["shape"]
    assert found["signs"] == "saddle"
    assert found["stationary_inside"] is False
    assert any("outside what was baked, so it is no advice" in sentence for sentence in found["words"])
    # R looked at a grid of hundredths, so that ours may be a hair better.
    assert found["best_response"] == pytest.approx(expected["best_response_on_grid"][0], abs=1e-3)
    assert found["best_response"] >= expected["best_response_on_grid"][0] - 1e-9
    assert list(found["best"].values()) == pytest.approx(expected["best_on_grid"], abs=0.011)
    assert [found["low"], found["high"]] == pytest.approx(expected["interval_on_grid"], abs=0.01)


def test_beyond_the_edge_it_says_what_to_bake_and_never_what_it_gives(surface):
    answer = surface("rising_ridge", "y", ["x1", "x2", "x3"], "--goal", "y:maximise")
    suggested = next(bakes for bakes in answer["next_bakes"] if "still getting higher" in bakes["why"])
    sums = [treatment["x1"] + treatment["x2"] for treatment in suggested["treatments"]]
    assert 2 < sums[0] < sums[-1]  # the hull of the bakes ends at a sum of 2, and the ridge rises along it
    inside = surface("ccd_yield_13run", "yield", ["x1", "x2"], "--goal", "yield:maximise")
    assert inside["surface"]["onward"] == []


def test_blocks_are_averaged_over(surface):
    found, expected = surface("ccd_in_blocks", "y", ["x1", "x2"], "--block", "day")["surface"], figures("ccd_in_blocks")
    assert list(found["stationary"].values()) == pytest.approx(expected["stationary"], rel=1e-6)
    assert found["eigenvalues"] == pytest.approx(expected["eigenvalues"], rel=1e-6)
    level = [found[key] for key in ("stationary_response", "stationary_low", "stationary_high")]
    assert level == pytest.approx(expected["at_stationary"], rel=1e-6)
    assert found["shape"] == expected["nature"]


def test_each_oven_has_its_own_surface(surface):
    answer = surface("two_ovens", "y", ["x1", "x2"], "--factor", "oven:category")
    found, expected = answer["surface"], figures("two_ovens")
    levels = {level["at"]["oven"]: level for level in found["levels"]}
    for oven in ("deck", "fan"):
        assert list(levels[oven]["stationary"].values()) == pytest.approx(expected[oven], rel=1e-6)
        size = [levels[oven][key] for key in ("best_response", "low", "high")]
        assert size == pytest.approx(expected[f"at_{oven}"], rel=1e-6)
    assert found["eigenvalues"] == pytest.approx(expected["eigenvalues"], rel=1e-6)
    assert found["at"] == {"oven": "fan"}
    assert found["best"]["oven"] == "fan"
    assert any(sentence.startswith("With oven deck the best is") for sentence in found["words"])


def test_a_lower_response_is_better_when_the_goal_says_so(surface):
    found = surface("two_ovens", "y", ["x1", "x2"], "--factor", "oven:category", "--goal", "y:minimise")["surface"]
    assert found["better"] == "lower"
    assert found["edge"]
    assert all(found["best_response"] <= level["best_response"] for level in found["levels"])


def test_a_target_inside_is_met(surface):
    found = surface("ccd_yield_13run", "yield", ["x1", "x2"], "--goal", "yield:target=78")["surface"]
    assert found["best_response"] == pytest.approx(78, abs=1e-6)
    assert not found["edge"]


def test_one_bending_amount_is_no_surface_and_says_why(crumbwise, tmp_path):
    file = tmp_path / "one.csv"
    file.write_text("soda,rise\n" + "\n".join(f"{d},{40 - (d - 2) ** 2 + e}" for d in (1, 2, 3) for e in (0.1, -0.1)))
    ran = crumbwise("analyse", file, "--response", "rise", "--factor", "soda:amount", "--kind", "surface", "--json")
    answer = ran.document["responses"][0]
    assert answer["surface"] is None
    assert "dose curve" in answer["reasons"]["surface"]


def test_the_path_of_a_first_order_trial_is_suggested(crumbwise, tmp_path):
    rows = ["soda,oven,rise"]
    for n, (soda, oven) in enumerate([(s, o) for s in (1, 2) for o in (170, 190)] * 2 + [(1.5, 180)] * 4):
        rows.append(f"{soda},{oven},{40 + 4 * soda + 0.1 * oven + (-1) ** n * 0.1 * (1 + n % 3)}")
    file = tmp_path / "first.csv"
    file.write_text("\n".join(rows))
    asked = ["analyse", file, "--response", "rise", "--factor", "soda:amount", "--factor", "oven:amount"]
    answer = crumbwise(*asked, "--goal", "rise:maximise", "--json").document["responses"][0]
    climb = answer["climb"]
    # Slopes for half the range: 4 * 0.5 and 0.1 * 10, so that oven moves half its range for all of soda's.
    assert climb["slopes"] == pytest.approx({"soda": 2, "oven": 1}, abs=0.2)
    assert climb["step"]["soda"] == pytest.approx(0.5)
    assert climb["step"]["oven"] == pytest.approx(5, abs=1.2)
    assert climb["bends"] == "no"
    assert climb["steps"][-1]["settings"]["soda"] == pytest.approx(2)
    suggested = next(bakes for bakes in answer["next_bakes"] if "beyond it" in bakes["why"])
    assert 3 <= len(suggested["treatments"]) <= 5
    assert suggested["treatments"][0]["soda"] == pytest.approx(2)
    lower = crumbwise(*asked, "--goal", "rise:minimise", "--json").document["responses"][0]["climb"]
    assert lower["step"]["soda"] == pytest.approx(-0.5)


def test_the_path_of_the_books(crumbwise, tmp_path):
    # Montgomery, Design and Analysis of Experiments, ch. 11: time and temperature with five centre points;
    # b1 = 0.775, b2 = 0.325, so that the second moves 0.42 of its half range for all of the first's.
    rows = [(30, 150, 39.3), (30, 160, 40.0), (40, 150, 40.9), (40, 160, 41.5)]
    rows += [(35, 155, value) for value in (40.3, 40.5, 40.7, 40.2, 40.6)]
    file = tmp_path / "path.csv"
    file.write_text("time,temp,yield\n" + "\n".join(",".join(map(str, row)) for row in rows))
    named = ("--factor", "time:amount", "--factor", "temp:amount", "--goal", "yield:maximise")
    answer = crumbwise("analyse", file, "--response", "yield", *named, "--json").document["responses"][0]
    assert answer["climb"]["slopes"] == pytest.approx({"time": 0.775, "temp": 0.325}, rel=1e-9)
    assert answer["climb"]["step"] == pytest.approx({"time": 5, "temp": 5 * 0.325 / 0.775}, rel=1e-9)
    assert answer["climb"]["bends"] == "no"
