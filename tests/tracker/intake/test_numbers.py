"""Is a typed number kept as it was meant, or refused in words?"""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracker.errors import InputError
from tracker.intake.columns import numbers_of
from tracker.intake.numbers import number_text, plain_number, read_number
from tracker.intake.spreadsheet import parse


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("42.5", 42.5),
        ("42,5", 42.5),
        (" 42 ", 42.0),
        ("-3.5", -3.5),
        ("−3,5", -3.5),
        ("+4", 4.0),
        (".5", 0.5),
        (",5", 0.5),
        ("5.", 5.0),
        ("1.234", 1.234),
        ("0,234", 0.234),
        ("1234,567", 1234.567),
        ("1e3", 1000.0),
        ("2,5E-3", 0.0025),
        ("007", 7.0),
    ],
)
def test_one_meaning_is_read(text: str, value: float) -> None:
    assert read_number(text) == value


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1,234", "1234 or as 1.234"),
        ("-1,234", "-1234 or as -1.234"),
        ("12,345e2", "can be read as"),
        ("1,234.5", "marks between its thousands"),
        ("1.234,5", "marks between its thousands"),
        ("1 234", "marks between its thousands"),
        ("42 mm", '"mm" behind its number'),
        ("42mm", '"mm" behind its number'),
        ("5%", '"%" behind its number'),
        ("180°C", '"°C" behind its number'),
        ("NaN", "not a number that was measured"),
        ("-inf", "not a number that was measured"),
        ("n.d.", "text in a number"),
        ("NA", "text in a number"),
        ("null", "text in a number"),
        ("-", "text in a number"),
        ("tall", "text in a number"),
        ("<5", "a bound"),
        ("1/2", "text in a number"),
        ("1_000", "marks between its thousands"),
        ("٤٢", "text in a number"),
        ("", "missing"),
        ("1e999", "too large"),
        ("1e-999", "too small"),
        ("12345678901234567891", "more digits than can be kept"),
    ],
)
def test_everything_else_is_refused_in_words(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        read_number(text, what="rise height", where="row 3")
    assert words in caught.value.what
    assert caught.value.what.startswith("rise height: ")
    assert caught.value.where == "row 3"
    assert caught.value.try_this


def independently(text: str) -> Decimal | None:
    """Another reading of the rule: at most one mark, which is the decimal mark."""
    try:
        return Decimal(text.strip().replace("−", "-").replace(",", "."))
    except InvalidOperation:
        return None


@settings(max_examples=10_000, deadline=None)
@given(
    st.one_of(
        st.text(alphabet="0123456789.,-+eE '_−mg%", max_size=12),
        st.text(max_size=8),
        st.floats(allow_nan=True).map(str),
        st.decimals(allow_nan=False, allow_infinity=False, places=3).map(lambda d: str(d).replace(".", ",")),
    )
)
def test_no_string_changes_silently(text: str) -> None:
    found = plain_number(text)
    if isinstance(found, float):
        meant = independently(text)
        assert meant is not None
        assert float(meant) == found
    else:
        what, try_this = found
        assert what.endswith(".")
        assert try_this


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_number_text_reads_back(value: float) -> None:
    assert read_number(number_text(value)) == value


def test_only_a_spreadsheet_is_told_of_its_column():
    found = plain_number("42 mm")
    assert isinstance(found, tuple)
    assert found[1] == "write the number alone"
    sheet = parse(b"rise\n42 mm\n", "rise.csv")
    with pytest.raises(InputError) as refused:
        numbers_of(sheet, "rise")
    assert refused.value.try_this == "write the number alone, the unit in the column's name"
