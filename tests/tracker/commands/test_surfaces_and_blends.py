"""A spreadsheet asked for a surface, a blend or the single effects of a screening, through the command."""

import json
from pathlib import Path

import jsonschema
import pytest

from analysis.serialise import schema

PUBLISHED = Path(__file__).parents[2] / "published"


def figures(case):
    return json.loads((PUBLISHED / f"{case}.json").read_text())["expected"]


def asked(crumbwise, case, response, kind, factors, *more):
    named = [word for name in factors for word in ("--factor", f"{name}:{kind}")]
    ran = crumbwise("analyse", PUBLISHED / f"{case}.csv", "--response", response, *named, *more, "--json")
    assert ran.code == 0, ran.err
    jsonschema.validate(ran.document, schema())
    return ran.document["responses"][0]


@pytest.mark.parametrize("how", [("--kind", "surface"), ("--model", "quadratic")])
def test_a_surface_is_asked_for_by_kind_or_model(crumbwise, how):
    case = "response_surface/ccd_yield_13run"
    answer = asked(crumbwise, case, "yield", "amount", ["x1", "x2"], *how)
    expected = figures(case)
    assert answer["residual"]["sd"] == pytest.approx(expected["sigma"], rel=1e-9)
    assert answer["residual"]["press"] == pytest.approx(expected["press"], rel=1e-9)
    assert {test["term"] for test in answer["tests"]} == {"x1", "x2", "x1^2", "x2^2", "x1:x2"}
    assert any(check["check"] == "lack of fit" for check in answer["checks"])
    assert any("lies above the straight line" in finding["sentence"] for finding in answer["findings"])


@pytest.mark.parametrize("how", [(), ("--kind", "mixture"), ("--model", "mixture quadratic")])
def test_shares_are_read_as_a_blend(crumbwise, how):
    case = "mixture/yarn_scheffe_quadratic"
    answer = asked(crumbwise, case, "elong", "share", ["pe", "ps", "pp"], *how)
    found = {line["term"]: line["estimate"] for line in answer["coefficients"]}
    assert found == pytest.approx({term: line["Estimate"] for term, line in figures(case)["coef"].items()}, rel=1e-7)


def test_a_screening_is_asked_for_its_single_effects(crumbwise):
    names = [f"x{i}" for i in range(1, 7)]
    answer = asked(crumbwise, "screening_designs/dsd_6_volume", "y", "amount", names, "--model", "main effects")
    assert [test["term"] for test in answer["tests"]] == names
    assert any(check["check"] == "partly mixed" for check in answer["checks"])


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--kind", "mixture"), 3, "no factor is a share"),
        (("--model", "quadrat"), 2, "--model quadratic"),
        (("--kind", "surfaces"), 2, "--kind surface"),
    ],
)
def test_what_cannot_be_asked_names_what_can(crumbwise, words, code, said):
    file = PUBLISHED / "response_surface/ccd_yield_13run.csv"
    ran = crumbwise("analyse", file, "--response", "yield", "--factor", "x1:amount", "--factor", "x2:amount", *words)
    assert ran.code == code
    assert said in ran.err


def test_a_report_of_a_surface_and_of_a_blend_shows_bends_and_blends(crumbwise, tmp_path):
    for case, response, factors, drawn in (
        ("response_surface/ccd_yield_13run", "yield", ("x1:amount", "x2:amount"), "bend over x1"),
        ("mixture/yarn_scheffe_quadratic", "elong", ("pe:share", "ps:share", "pp:share"), "blend of pe + ps"),
    ):
        named = [word for name in factors for word in ("--factor", name)]
        kind = ("--kind", "surface") if "bend" in drawn else ()
        file = PUBLISHED / f"{case}.csv"
        ran = crumbwise("analyse", file, "--response", response, *named, *kind, "--report", tmp_path / "page.html")
        assert ran.code == 0, ran.err
        assert drawn in (tmp_path / "page.html").read_text(encoding="utf-8")
