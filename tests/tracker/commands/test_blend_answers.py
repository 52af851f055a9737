"""Blends with a factor beside them, and the best blend, through the command.

Figures: R 4.2.2 by ``mixture/process.R`` (made up); Cornell's yarn (Experiments with Mixtures) for the best blend
of two fibres, whose top follows from the published coefficients.
"""

import json
from pathlib import Path

import jsonschema
import pytest

from analysis.serialise import schema

FOLDER = Path(__file__).parents[2] / "published" / "mixture"
FLOURS = ("wheat", "rye", "oat")
WITH_OVEN = [*(f"{name}:share" for name in FLOURS), "oven:amount"]


@pytest.fixture
def blend(crumbwise):
    def run(file, response, factors, *more):
        named = [word for name in factors for word in ("--factor", name)]
        ran = crumbwise("analyse", file, "--response", response, *named, *more, "--json")
        assert ran.code == 0, ran.err
        jsonschema.validate(ran.document, schema())
        return ran.document["responses"][0]

    return run


@pytest.fixture
def flours(blend):
    return blend(FOLDER / "flours_and_oven.csv", "rise", WITH_OVEN, "--goal", "rise:maximise")


@pytest.fixture(scope="module")
def expected():
    return json.loads((FOLDER / "flours_and_oven.json").read_text())


def test_products_with_the_oven_are_those_of_r(flours, expected):
    found = {line["term"]: line for line in flours["coefficients"]}
    terms = [term for term, numbers in expected.items() if isinstance(numbers, list) and len(numbers) == 4]
    assert set(found) == set(terms)
    for term in terms:
        estimate, se, t, p = expected[term]
        assert found[term]["estimate"] == pytest.approx(estimate, rel=1e-7)
        assert found[term]["se"] == pytest.approx(se, rel=1e-7)
        assert found[term]["t"] == pytest.approx(t, rel=1e-7)
        assert found[term]["p"] == pytest.approx(p, rel=1e-5)
    assert flours["residual"]["sd"] == pytest.approx(expected["sigma"], rel=1e-9)
    assert flours["residual"]["df"] == expected["df"]


def test_whether_the_oven_depends_on_the_blend_is_judged_together(flours, expected):
    tests = {test["term"]: test for test in flours["tests"]}
    assert tests["linear blending:oven"]["value"] == pytest.approx(expected["f_linear_by_oven"], rel=1e-7)
    assert tests["blends of two:oven"]["value"] == pytest.approx(expected["f_pairs_by_oven"], rel=1e-7)
    first = flours["findings"][0]
    assert (first["kind"], first["variables"]) == ("interaction", ["oven", "wheat"])


def test_the_best_blend_is_the_best_of_a_fine_grid(flours, expected):
    part = flours["blend"]
    for level, key in zip(part["levels"], ("best_low", "best_high"), strict=True):
        wheat, rye, oat, oven, best, low, high = expected[key]
        assert [level["best"][name] for name in (*FLOURS, "oven")] == pytest.approx([wheat, rye, oat, oven], abs=6e-4)
        assert level["best_response"] == pytest.approx(best, abs=1e-5)
        assert level["best_response"] >= best - 1e-9
        assert [level["low"], level["high"]] == pytest.approx([low, high], abs=2e-3)
    assert part["at"] == {"oven": 1}
    assert not part["edge"]  # oat is used up: no blend goes on from there


def test_the_best_yarn_lies_between_two_fibres(blend):
    answer = blend(FOLDER / "yarn_scheffe_quadratic.csv", "elong", ["pe:share", "ps:share", "pp:share"])
    # 11.7 a + 16.4 (1 - a) + 11.4 a (1 - a) is largest where 11.7 - 16.4 + 11.4 (1 - 2 a) = 0.
    part, a = answer["blend"], (1 - 4.7 / 11.4) / 2
    assert part["best"] == pytest.approx({"pe": a, "ps": 0, "pp": 1 - a}, abs=1e-7)
    assert part["best_response"] == pytest.approx(11.7 * a + 16.4 * (1 - a) + 11.4 * a * (1 - a), rel=1e-7)
    trace = next(trace for trace in part["traces"] if trace["share"] == "ps")
    assert trace["points"][-1]["mean"] == pytest.approx(9.4, rel=1e-7)
    assert any("no goal was given" in sentence for sentence in part["words"])


def test_the_unit_of_the_shares_does_not_move_the_best_blend(blend, tmp_path):
    import pandas as pd

    frame = pd.read_csv(FOLDER / "yarn_scheffe_quadratic.csv")
    frame[["pe", "ps", "pp"]] *= 100
    frame.to_csv(tmp_path / "percent.csv", index=False)
    factors = ["pe:share", "ps:share", "pp:share"]
    one = blend(FOLDER / "yarn_scheffe_quadratic.csv", "elong", factors)["blend"]
    other = blend(tmp_path / "percent.csv", "elong", factors)["blend"]
    assert other["best"]["pe"] == pytest.approx(100 * one["best"]["pe"], rel=1e-7)
    assert other["low"] == pytest.approx(one["low"], rel=1e-7)


def test_a_blend_of_narrow_shares_never_leaves_what_was_baked(blend, tmp_path):
    rows = ["wheat,rye,oat,rise"]
    corners = [(60, 10, 30), (60, 30, 10), (70, 10, 20), (70, 20, 10), (65, 17.5, 17.5), (60, 20, 20)]
    for n, (wheat, rye, oat) in enumerate(corners * 3):
        rows.append(f"{wheat},{rye},{oat},{20 + 0.5 * wheat + 0.1 * rye + (-1) ** n * 0.05 * (1 + n % 4)}")
    file = tmp_path / "narrow.csv"
    file.write_text("\n".join(rows))
    part = blend(file, "rise", [f"{name}:share" for name in FLOURS], "--goal", "rise:maximise")["blend"]
    assert part["best"]["wheat"] == pytest.approx(70, abs=1e-6)
    assert part["edge"]
    assert any("where the bakes end" in sentence for sentence in part["words"])
    for trace in part["traces"]:
        limits = part["limits"][trace["share"]]
        assert all(limits["low"] - 1e-6 <= point["share"] <= limits["high"] + 1e-6 for point in trace["points"])


def test_a_covariate_is_taken_out_of_a_blend(blend):
    expected = json.loads((FOLDER / "flours_and_room.json").read_text())
    factors = [f"{name}:share" for name in FLOURS]
    answer = blend(FOLDER / "flours_and_room.csv", "rise", factors, "--covariate", "room")
    found = {line["term"]: line for line in answer["coefficients"]}
    assert answer["residual"]["sd"] == pytest.approx(expected.pop("sigma"), rel=1e-7)
    for term, (estimate, se, *_) in expected.items():
        assert found[term]["estimate"] == pytest.approx(estimate, rel=1e-7)
        assert found[term]["se"] == pytest.approx(se, rel=1e-7)
    assert answer["covariates"]["covariates"][0]["slope"] == pytest.approx(expected["room"][0], rel=1e-7)


def test_the_best_blend_leads_the_answer(flours):
    assert flours["headline"].startswith("For the highest rise use wheat 0.88, rye 0.12 and no oat")
