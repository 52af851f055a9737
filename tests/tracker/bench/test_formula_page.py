"""Is a formula written on a page, with its balance beside it, and kept as typed?"""

from __future__ import annotations

from html import unescape

import pytest

from tracker.formulas import FormulaLine, checked
from tracker.workflow.formula_pages import TypedLine, live_balance
from tracker.workflow.formulas import add_formula, show_formula

LOAF = (("wheat flour", 100.0, True), ("buttermilk", 80.0, False), ("baking soda", 1.2, False))


@pytest.fixture
def loaf(bench_store):
    lines = [FormulaLine(ingredient=name, bakers_percent=percent, flour=flour) for name, percent, flour in LOAF]
    add_formula(bench_store, checked("soda loaf", lines, method="Mix & bake."))
    return bench_store


def form(key, *lines, name="soda loaf", **more):
    fields = {"key": key(), "name": name, "method": "Mix & bake.", **more}
    for place, (ingredient, percent, flour) in enumerate(lines or LOAF, start=1):
        fields |= {f"ingredient:{place}": ingredient, f"percent:{place}": str(percent)}
        fields |= {f"flour:{place}": "yes"} if flour else {}
    return fields


def test_the_editor_shows_the_lines_and_what_they_give(loaf, as_role):
    page = unescape(as_role("baker").get("/formula?name=soda loaf").text)
    told = live_balance(loaf, [TypedLine(ingredient=i, percent=str(p), flour=f) for i, p, f in LOAF])
    for words in (*told.said, *(value for _, value in told.facts)):
        assert words in page
    assert 'name="ingredient:2" list="known" autocomplete="off" maxlength="200" value="buttermilk"' in page
    assert 'name="percent:3" inputmode="decimal" autocomplete="off" maxlength="60" value="1.2"' in page
    assert 'name="ingredient:6"' in page  # three lines to spare
    assert "Mix & bake." in page
    assert "formaction" not in page  # a baker reads; an analyst keeps


def test_the_balance_follows_the_amounts(loaf, as_role, key):
    baker = as_role("baker")
    more = (*LOAF[:2], ("baking soda", "2,4", False))
    plain = unescape(baker.post("/formula", data=form(key, *more)).text)
    asked = baker.post("/formula/balance", data=form(key, *more), headers={"accept": "application/json"}).json()
    # Twice the soda in as much acid: 1.2 % more soda is left over than before, or less acid.
    before = live_balance(loaf, [TypedLine(ingredient=i, percent=str(p), flour=f) for i, p, f in LOAF])
    left = {name: float(value.split()[0]) for name, value in asked["facts"] if "left over" in name}
    was = {name: float(value.split()[0]) for name, value in before.facts if "left over" in name}
    assert left["Soda left over"] == pytest.approx(was["Soda left over"] + 1.2, abs=0.02)
    assert all(words in plain for words in asked["said"])
    assert 'value="2,4"' in plain
    assert show_formula(loaf, "soda loaf").version == 1


def test_a_formula_is_kept_as_its_next_version(loaf, as_role, key):
    analyst = as_role("analyst")
    data = form(key, *LOAF[:2], ("baking soda", "1,5", False))
    assert [analyst.post("/formula/keep", data=data).status_code for _ in range(2)] == [303, 303]
    stands = show_formula(loaf, "soda loaf")
    assert stands.version == 2
    assert [(each.ingredient, each.bakers_percent, each.flour) for each in stands.formula.lines] == [
        ("wheat flour", 100.0, True),
        ("buttermilk", 80.0, False),
        ("baking soda", 1.5, False),
    ]
    assert "Version 2" in analyst.get("/formula?name=soda loaf").text
    assert 'value="1.2"' in analyst.get("/formula?name=soda loaf&version=1").text


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ((("wheat flour", "90", True), ("water", "65", False)), "add up to 90 %"),
        ((("wheat flour", "100", True), ("water", "lots", False)), '"lots"'),
        ((("wheat flour", "100", True), ("water", "-3", False)), "-3 % of flour is no amount"),
        ((("wheat flour", "100", True), ("", "3", False)), "names no ingredient"),
        ((("wheat flour", "100", True), ("water", "6", False), ("Water", "7", False)), "two lines"),
        ((("", "", False),), "has no lines"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_typed_stays(loaf, as_role, key, lines, said):
    answer = as_role("analyst").post("/formula/keep", data=form(key, *lines))
    page = unescape(answer.text)
    assert answer.status_code == 422
    assert said in page
    for ingredient, percent, _ in lines:
        assert f'value="{ingredient}"' in page
        assert f'value="{percent}"' in page
    assert show_formula(loaf, "soda loaf").version == 1


@pytest.mark.parametrize("path", ["/formula?name=soda lof", "/formula?name=soda loaf&version=9"])
def test_an_unknown_formula_is_said(loaf, as_role, path):
    answer = as_role("baker").get(path)
    assert answer.status_code == 404
    assert "soda loaf" in answer.text


def test_roles(loaf, client, as_role, key):
    assert client.post("/formula/keep", data=form(key)).status_code == 401
    for path in ("/formula", "/formula/balance", "/formula/keep"):
        assert as_role("assessor").post(path, data=form(key)).status_code == 403
    assert as_role("baker").post("/formula/keep", data=form(key)).status_code == 403
    assert as_role("assessor").get("/formula").status_code == 403
    assert show_formula(loaf, "soda loaf").version == 1


@pytest.mark.parametrize(
    "percent", ["", "1e999", "nan", "inf", "-1", "0", "99999999999", "1,2,3", "٣", "\x00", "1.2 %", "½"]
)
def test_the_live_balance_takes_anything_that_can_be_typed(loaf, percent):
    told = live_balance(
        loaf, [TypedLine(ingredient="baking soda", percent=percent), TypedLine(ingredient="", percent="")]
    )
    said = " ".join((*told.said, told.wrong, told.total, *(value for _, value in told.facts)))
    assert said
    assert "nan" not in said.replace('"nan"', "")
