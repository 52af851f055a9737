"""A formula survives scaling, and says what does not add up."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.errors import InputError
from tracker.formulas import FormulaLine, checked, from_weights


@st.composite
def formulas(draw):
    share = draw(st.floats(1, 99))
    others = draw(st.lists(st.floats(0, 200), max_size=6))
    lines = [
        FormulaLine(ingredient="wheat flour", bakers_percent=share, flour=True),
        FormulaLine(ingredient="rye", bakers_percent=100 - share, flour=True),
        *(FormulaLine(ingredient=f"other {n}", bakers_percent=percent) for n, percent in enumerate(others)),
    ]
    return checked("loaf", lines)


@given(formulas(), st.floats(1, 1e6))
def test_weighing_a_formula_and_reading_it_back_gives_the_same_percentages(formula, flour_g):
    back = from_weights("loaf", formula.grams(flour_g), flours=["Wheat  flour", "rye"])
    assert back.ingredients() == formula.ingredients()
    for line, again in zip(formula.lines, back.lines, strict=True):
        assert again.bakers_percent == pytest.approx(line.bakers_percent, rel=1e-9, abs=1e-12)
        assert again.flour == line.flour


@given(formulas(), st.floats(1, 1e4), st.floats(0.1, 10))
def test_weights_grow_with_the_flour(formula, flour_g, factor):
    for (_, small), (_, large) in zip(formula.grams(flour_g), formula.grams(flour_g * factor), strict=True):
        assert large == pytest.approx(small * factor)


@given(formulas(), st.floats(1, 1e4))
def test_the_dough_weighs_its_total_percent(formula, flour_g):
    assert sum(grams for _, grams in formula.grams(flour_g)) == pytest.approx(formula.total_percent * flour_g / 100)


def test_lines_named_flour_are_flour_when_none_says_so():
    formula = checked(
        "loaf",
        [FormulaLine(ingredient="Spelt flour", bakers_percent=100), FormulaLine(ingredient="water", bakers_percent=65)],
    )
    assert [line.flour for line in formula.lines] == [True, False]


@pytest.mark.parametrize(
    ("lines", "match"),
    [
        ([], "no lines"),
        ([("water", 60.0)], "No line is flour"),
        ([("wheat flour", 90.0)], "add up to 90 %"),
        ([("wheat flour", 100.0), ("water", -1.0)], "is no amount"),
        ([("wheat flour", 100.0), ("water", float("nan"))], "is no amount"),
        ([("wheat flour", 100.0), ("water", 60.0), ("Water", 2.0)], "two lines"),
        ([("wheat flour", 100.0), (" ", 2.0)], "names no ingredient"),
    ],
)
def test_what_is_no_formula_is_refused_in_words(lines, match):
    with pytest.raises(InputError, match=match) as caught:
        checked("loaf", [FormulaLine(ingredient=name, bakers_percent=percent) for name, percent in lines])
    assert caught.value.try_this


def test_all_problems_are_told_at_once():
    with pytest.raises(InputError, match=r"(?s)two lines.*add up to 50"):
        checked(
            "loaf",
            [FormulaLine(ingredient=n, bakers_percent=p) for n, p in (("rye flour", 50), ("salt", 1), ("salt", 1))],
        )


@pytest.mark.parametrize("flour_g", [0, -5, float("nan"), float("inf")])
def test_no_flour_cannot_be_weighed(flour_g):
    formula = from_weights("loaf", [("flour", 300), ("water", 200)])
    with pytest.raises(InputError, match="flour"):
        formula.grams(flour_g)


def test_a_dough_without_flour_has_no_percentages():
    with pytest.raises(InputError, match="No flour"):
        from_weights("loaf", [("water", 200)])
