"""A frame that cannot be analysed is refused in words that name the place and the way out."""

import numpy as np
import pandas as pd
import pytest

from analysis.checks import (
    duplicate_rows,
    guess_kind,
    leading_digits,
    nearest,
    numbers,
    refuse_shares,
    require_columns,
)
from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Response

RISE = Response(name="rise", unit="mm")


def test_an_unknown_column_names_the_nearest_one():
    frame = pd.DataFrame({"soda_pct": [1.0], "rise": [2.0]})
    with pytest.raises(TrialDataError) as caught:
        require_columns(frame, ["sodapct"], where="table of rise")
    assert '"sodapct"' in caught.value.what
    assert '"soda_pct"' in caught.value.try_this
    assert caught.value.where == "table of rise"


def test_an_unknown_column_like_no_other_lists_what_there_is():
    with pytest.raises(TrialDataError) as caught:
        require_columns(pd.DataFrame({"soda": [1], "rise": [2]}), ["zzz"])
    assert '"soda", "rise"' in caught.value.try_this


def test_a_column_that_stands_there_twice_is_refused():
    frame = pd.DataFrame([[1, 2]], columns=["rise", "rise"])
    with pytest.raises(TrialDataError, match="2 times"):
        require_columns(frame, ["rise"])


@pytest.mark.parametrize(
    ("typed", "meant"), [("Soda", "soda"), ("acid_source", "acid source"), ("yoghurt", "yogurt"), ("xyz", None)]
)
def test_nearest_forgives_case_underscores_and_slips(typed, meant):
    assert nearest(typed, ["soda", "acid source", "yogurt"]) == meant


def test_text_in_a_number_names_its_rows():
    frame = pd.DataFrame({"rise": [1, "tall", None, "flat"]})
    with pytest.raises(TrialDataError, match=r'rows 2, 4: "tall"'):
        numbers(frame, "rise")


def test_decimal_commas_are_named_as_such():
    with pytest.raises(TrialDataError) as caught:
        numbers(pd.DataFrame({"rise": ["1,5", "2,25"]}), "rise")
    assert "decimal comma" in caught.value.try_this


def test_rows_keep_the_numbers_of_the_file_they_came_from():
    frame = pd.DataFrame({"rise": ["x", 2.0]}, index=pd.Index([7, 9], name="row"))
    with pytest.raises(TrialDataError, match="row 7"):
        numbers(frame, "rise")


@pytest.mark.parametrize("bad", [np.inf, -np.inf])
def test_infinity_is_refused_and_located(bad):
    with pytest.raises(TrialDataError, match="infinite value in row 2"):
        numbers(pd.DataFrame({"rise": [1.0, bad]}), "rise")


def test_dates_are_not_numbers():
    with pytest.raises(TrialDataError, match="dates"):
        numbers(pd.DataFrame({"rise": pd.to_datetime(["2026-01-01"])}), "rise")


def test_blank_cells_and_numbers_typed_as_text_are_read():
    values = numbers(pd.DataFrame({"rise": ["1.5", " ", None, 2]}), "rise")
    assert values.tolist()[0] == 1.5
    assert values.isna().tolist() == [False, True, True, False]


def test_yes_and_no_count_as_one_and_zero():
    frame = pd.DataFrame({"soapy": ["yes", "No", None]})
    assert numbers(frame, "soapy", yes_no=True).tolist()[:2] == [1.0, 0.0]


@pytest.mark.parametrize(
    ("column", "kind"),
    [
        ([1, 2, 3], "amount"),
        ([0.5, 0.5, 2.5], "amount"),
        (["1.5", "2"], "amount"),
        (["yogurt", "lemon"], "category"),
        ([1, "lemon"], "category"),
        ([True, False], "category"),
        ([None, None], "category"),
    ],
)
def test_the_kind_of_a_factor_is_guessed_from_its_column(column, kind):
    assert guess_kind(pd.Series(column)) == kind


def test_a_row_entered_twice_is_pointed_out():
    frame = pd.DataFrame({"soda": [1, 2, 1], "rise": [40.1, 44.0, 40.1]})
    check = duplicate_rows(frame, RISE)
    assert check is not None
    assert check.verdict == "look here"
    assert check.facts["rows"] == (1, 3)


def test_ties_between_replicate_scores_are_no_duplicates():
    score = Response(name="crumb", scale="score")
    ties = pd.DataFrame({"soda": [1, 1, 2, 2, 2], "crumb": [4, 4, 3, 3, 3]})
    assert duplicate_rows(ties, score) is None
    named = ties.assign(bake=["a", "a", "b", "c", "d"])
    assert duplicate_rows(named, score).facts["rows"] == (1, 2)


def test_missing_readings_are_no_duplicates():
    assert duplicate_rows(pd.DataFrame({"soda": [1, 1], "rise": [None, None]}), RISE) is None


def test_many_shared_leading_digits_are_pointed_out():
    assert leading_digits(np.array([1e12 + 0.2, 1e12 + 0.4])).facts["digits"] >= 12
    assert leading_digits(np.array([40.1, 44.2])) is None
    assert leading_digits(np.array([3.0, 3.0])) is None


def test_shares_of_a_mixture_are_refused_with_the_reason():
    mixture = pd.DataFrame({"wheat": [60.0, 50, 70], "rye": [30.0, 30, 10], "oat": [10.0, 20, 20]})
    with pytest.raises(NotPossible, match=r"always add up to 100.*mixture"):
        refuse_shares(mixture, ["wheat", "rye", "oat"])


def test_coded_levels_and_free_amounts_are_no_shares():
    coded = pd.DataFrame({"a": [-1.0, 1, -1, 1], "b": [1.0, -1, 1, -1]})
    free = pd.DataFrame({"soda": [1.0, 2, 1, 2], "powder": [1.0, 1, 2, 2]})
    refuse_shares(coded, ["a", "b"])
    refuse_shares(free, ["soda", "powder"])
    assert coded.sum(axis=1).eq(0).all()  # the pair does add to a constant, but not to a whole
