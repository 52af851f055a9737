"""Are several readings in one text told apart, and doubtful ones refused?"""

from __future__ import annotations

import pytest

from tracker.errors import InputError
from tracker.intake.piece_readings import PieceReading, read_pieces


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("43.1,42.8", (43.1, 42.8)),
        ("43.1, 42.8", (43.1, 42.8)),
        ("43,1; 42,8", (43.1, 42.8)),
        ("43,1 42,8", (43.1, 42.8)),
        ("43.1 42.8 41", (43.1, 42.8, 41.0)),
        ("43, 42, 41", (43.0, 42.0, 41.0)),
        ("43.1,42,41.5", (43.1, 42.0, 41.5)),
        ("43,1", (43.1,)),
        ("43.1 mm", (43.1,)),
        ("-1.5", (-1.5,)),
    ],
)
def test_readings_are_told_apart(text, values):
    read = read_pieces(text, scale="measured", what="rise height", unit="mm")
    assert tuple(each.value for each in read) == values
    assert all(each.size is None for each in read)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("43,1,42,8", "several ways"),
        ("43,42,41", "several ways"),
        ("4o.1", "text in a number"),
        ("high", "text in a number"),
        ("", "missing"),
        ("nan", "not a number that was measured"),
        ("1,234", "can be read as"),
        ("43 cm", "text in a number"),
        ("1e308", "was never measured"),
    ],
)
def test_doubtful_readings_are_refused(text, said):
    with pytest.raises(InputError, match=said) as told:
        read_pieces(text, scale="measured", what="rise height", unit="mm", where="--reading")
    assert told.value.try_this


@pytest.mark.parametrize("text", ["3/40", "3 / 40", "3 of 40", "3 OF 40"])
def test_a_count_names_what_it_was_taken_out_of(text):
    assert read_pieces(text, scale="share", what="split") == (PieceReading(value=3.0, size=40.0),)


def test_a_rate_may_be_of_any_size_and_more_than_it():
    assert read_pieces("7/2.5", scale="rate", what="blisters") == (PieceReading(value=7.0, size=2.5),)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("3", "out of how many"),
        ("41/40", "more than all"),
        ("2.5/40", "no count"),
        ("-1/40", "no count"),
        ("3/0", "no number of pieces"),
        ("3/1.5", "no number of pieces"),
        ("three/40", "text in a number"),
    ],
)
def test_a_count_that_cannot_be_is_refused(text, said):
    with pytest.raises(InputError, match=said) as told:
        read_pieces(text, scale="share", what="split")
    assert told.value.try_this
