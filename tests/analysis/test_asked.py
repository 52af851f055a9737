"""A question that contradicts itself is answered with the place and the way out."""

from dataclasses import replace

import pandas as pd
import pytest

from analysis.asked import check_question, route, with_bends
from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Factor, Question, Response

SODA = Factor(name="soda", kind="amount")
ACID = Factor(name="acid", kind="category")
RISE = Response(name="rise")
PLAIN = Question(factors=(SODA, ACID), responses=(RISE,))
TABLES = {"rise": pd.DataFrame()}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"factors": ()}, "No factor"),
        ({"responses": ()}, "No response"),
        ({"responses": (Response(name="rize"),)}, 'no readings of "rize"'),
        ({"blocks": ("soda",)}, "both as a factor and as a block"),
        ({"blocks": ("rise",)}, "both as a response and as a block"),
        ({"factors": (SODA, SODA)}, "as a factor twice"),
        ({"bake": "soda"}, "both as the bake and as a factor"),
        ({"group": ("acid",)}, "both as a group and as a factor"),
        ({"strips": ("acid", "load")}, "both as a group and as a factor"),
        ({"strips": ("load",)}, "two groups that cut across"),
        ({"strips": ("load", "load")}, "two groups that cut across"),
        ({"strips": ("load", "batch"), "group": ("day",)}, "two groups that cut across"),
        ({"confidence": 95}, "not between 0 and 1"),
        ({"confidence": 0}, "not between 0 and 1"),
        ({"effective": (1.5,)}, "A share of 1.5 of the way is not between 0 and 1"),
        ({"order": 0}, "order 0"),
        ({"squares": 4}, "type 4"),
        ({"kind": "magic"}, '"magic"'),
        ({"dose": "acid"}, "must be an amount"),
        ({"dose": "powder"}, "no factor"),
        ({"by": "soda"}, "must be a category"),
        ({"kind": "factors", "dose": "soda"}, "which factors matter"),
        ({"responses": (Response(name="rise", matters=-1),)}, "not above 0"),
        ({"responses": (Response(name="rise", goal="target"),)}, "none is given"),
        ({"factors": (Factor(name="acid", kind="category", levels=("a", "b"), reference="c"),)}, "no level"),
    ],
)
def test_each_contradiction_has_its_own_words_and_a_way_out(change, words):
    with pytest.raises(TrialDataError) as caught:
        check_question(replace(PLAIN, **change), TABLES)
    assert words in caught.value.what
    assert caught.value.where
    assert caught.value.try_this.endswith((".", "?"))


def test_a_sound_question_passes():
    assert check_question(PLAIN, TABLES) is None


def test_the_nearest_factor_is_suggested_for_a_misspelt_dose():
    with pytest.raises(TrialDataError) as caught:
        check_question(replace(PLAIN, dose="sodda"), TABLES)
    assert '"soda"' in caught.value.try_this


def test_shares_are_asked_for_as_a_mixture_and_a_mixture_needs_shares():
    shares = replace(PLAIN, factors=(Factor(name="rye", kind="share"),))
    with pytest.raises(NotPossible, match="none has an effect of its own"):
        check_question(replace(shares, kind="factors"), TABLES)
    with pytest.raises(TrialDataError, match="no factor is a share"):
        check_question(replace(PLAIN, kind="mixture"), TABLES)


def bakes(**columns) -> pd.DataFrame:
    return pd.DataFrame(columns)


FOUR = [0.5, 1.0, 1.5, 2.0]


@pytest.mark.parametrize(
    ("frame", "change", "family", "dose", "by"),
    [
        (bakes(soda=FOUR, acid=list("abab")), {}, "dose", "soda", "acid"),
        (bakes(soda=FOUR, acid=["a"] * 4), {}, "dose", "soda", None),
        (bakes(soda=[1, 1, 2, 2], acid=list("abab")), {}, "factors", None, None),
        (bakes(soda=[1, 2, 3, 3], acid=list("abab")), {"dose": "soda"}, "dose", "soda", "acid"),
        (bakes(soda=FOUR, acid=list("abab")), {"kind": "factors"}, "factors", None, None),
        (bakes(soda=[1, 1, 2, 2], acid=list("abab")), {"kind": "dose"}, "dose", "soda", "acid"),
    ],
)
def test_a_single_amount_at_four_levels_is_read_as_a_dose(frame, change, family, dose, by):
    way = route(replace(PLAIN, **change), frame)
    assert (way.family, way.dose, way.by) == (family, dose, by)


def test_two_amounts_are_factors_unless_a_dose_is_asked_for():
    two = replace(PLAIN, factors=(SODA, Factor(name="oven", kind="amount")))
    frame = bakes(soda=FOUR, oven=[1, 2, 2, 1])
    assert route(two, frame).family == "factors"
    with pytest.raises(NotPossible, match="which of them is the dose"):
        route(replace(two, kind="dose"), frame)
    with pytest.raises(NotPossible, match="no place for oven"):
        route(replace(two, dose="soda"), frame)


def test_a_dose_response_without_an_amount_is_not_possible():
    with pytest.raises(NotPossible, match="needs an amount"):
        route(replace(PLAIN, kind="dose", factors=(ACID,)), bakes(acid=list("abab")))


OVEN = Factor(name="oven", kind="amount")
RISE = Response(name="rise")
SQUARE = bakes(soda=[1, 2, 3] * 3 + [2, 2], oven=[1] * 3 + [2] * 3 + [3] * 3 + [2, 2], day=list("ababababaab"))


@pytest.mark.parametrize(
    ("frame", "change", "kind"),
    [
        (SQUARE, {}, "surface"),
        (SQUARE, {"blocks": ("day",)}, "surface"),
        (SQUARE.iloc[:8], {}, "auto"),  # too few left over
        (SQUARE.assign(oven=[1, 2] * 5 + [1]), {}, "auto"),  # two settings tell no bend
        (SQUARE.assign(soda=range(11)), {}, "auto"),  # measured rather than set
        (SQUARE, {"model": "interactions"}, "auto"),
        (SQUARE, {"kind": "factors"}, "factors"),
        (SQUARE, {"group": ("day",)}, "auto"),
        (SQUARE, {"interactions": ("soda:oven",)}, "auto"),
        (SQUARE, {"order": 1}, "auto"),
    ],
)
def test_amounts_laid_out_for_a_surface_are_read_as_one_unless_asked_otherwise(frame, change, kind):
    asked = replace(PLAIN, factors=(SODA, OVEN), **change)
    assert with_bends(asked, RISE, frame.reset_index(drop=True)).kind == kind


def test_a_category_beside_two_amounts_is_no_surface():
    three = replace(PLAIN, factors=(SODA, OVEN, ACID))
    assert with_bends(three, RISE, SQUARE.assign(acid=list("ababababaab"))).kind == "auto"
    assert with_bends(three, RISE, SQUARE.assign(acid="a")).kind == "surface"
