"""Is each column of a spreadsheet placed, or refused with the nearest name?"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.errors import InputError
from tracker.intake.mapping import Field, match_columns, read_map, same_name, snake

FIELDS = [Field(name="rise height", unit="mm"), Field(name="soda", unit="% flour"), Field(name="run", also=("code",))]


@pytest.mark.parametrize("column", ["rise height", "Rise Height", "rise_height", "rise height (mm)", "rise_height_mm"])
def test_a_column_may_carry_its_unit(column: str) -> None:
    assert match_columns([column, "Code"], FIELDS, where="a.csv") == {"rise height": column, "run": "Code"}


def test_export_names_come_back() -> None:
    assert snake("soda", "% flour") == "soda_pct_flour"
    assert snake("rise height", "mm") == "rise_height_mm"
    assert same_name("soda_pct_flour", "soda", "% flour")


@given(
    st.from_regex(r"[a-z]{1,8}( [a-z]{1,8})?", fullmatch=True), st.sampled_from(["", "mm", "°C", "% flour", "g/cm³"])
)
def test_every_exported_name_is_recognised(name: str, unit: str) -> None:
    assert same_name(snake(name, unit), name, unit)


@pytest.mark.parametrize(
    ("header", "explicit", "words", "try_this"),
    [
        (["rise heigth"], {}, "nothing this trial knows", '--map "rise heigth=rise height"'),
        (["weather"], {}, "nothing this trial knows", '--map "weather=-" leaves it out'),
        (["rise height (cm)"], {}, "is in cm, but rise height is in mm", "convert the column to mm"),
        (["rise height", "rise_height_mm"], {}, "hold rise height", '--map "rise_height_mm=-"'),
        (["h"], {"hh": "soda"}, 'no column "hh"', '--map "h=soda"'),
        (["h"], {"h": "rise hight"}, 'no field "rise hight"', '--map "h=rise height"'),
    ],
)
def test_what_cannot_be_placed_is_refused(
    header: list[str], explicit: dict[str, str], words: str, try_this: str
) -> None:
    with pytest.raises(InputError) as caught:
        match_columns(header, FIELDS, explicit=explicit, where="a.csv")
    assert words in caught.value.what
    assert try_this in caught.value.try_this


def test_a_map_may_leave_a_column_out() -> None:
    assert match_columns(["code", "weather"], FIELDS, explicit=read_map(["weather=-"]), where="a.csv") == {
        "run": "code"
    }


def test_a_map_needs_both_sides() -> None:
    with pytest.raises(InputError, match="maps nothing"):
        read_map(["height"])
