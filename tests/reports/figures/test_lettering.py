"""Do names of any script take the room they need in a picture, and no more?"""

from __future__ import annotations

import pytest

from reports.figures.lettering import brief, calm, columns, wrapped


@pytest.mark.parametrize(
    ("text", "wide"), [("soda", 4), ("🍞🥐", 4), ("e\u0301clair", 6), ("パン", 4), ("סבון", 4), ("", 0)]
)
def test_wide_letters_take_two_columns_and_marks_none(text, wide):
    assert columns(text) == wide


def test_marks_are_piled_two_high_at_most():
    assert calm("e" + "\u0301" * 30 + "clair") == "e\u0301\u0301clair"
    assert calm("e\u0301\u0323clair") == "e\u0301\u0323clair"


def test_a_name_of_emoji_is_cut_at_half_as_many_as_letters():
    assert len(brief("x" * 90, 20)) == 20
    assert len(brief("🍞" * 90, 20)) == 10
    assert max(map(columns, wrapped("🍞" * 90, width=20).split("\n"))) <= 20
    assert wrapped("a name of many words", width=10) == "a name of\nmany words"
