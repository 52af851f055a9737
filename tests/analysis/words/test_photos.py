"""Are the words beside a photo the same for those who see it and those who do not?"""

from __future__ import annotations

from datetime import date

from analysis.words.photos import say_below_photo, say_other_photos, say_photo

DAY = date(2026, 11, 26)


def test_a_caption_names_bake_treatment_note_person_and_day():
    assert say_below_photo("541", 2, "soda 1.5 % flour", "split crust.", "Imke", DAY) == (
        "Bake 541, piece 2: soda 1.5 % flour. Split crust. Taken by Imke on Thursday 26 November 2026."
    )
    assert say_below_photo("541", None, "", "", "", DAY) == "Bake 541. Taken on Thursday 26 November 2026."


def test_what_is_read_aloud_says_what_is_to_be_seen():
    assert say_photo("541", None, "soda 1.5 % flour", "split") == "Photo of bake 541: soda 1.5 % flour. Noted: split"
    assert say_photo("541", 3, "") == "Photo of bake 541, piece 3"


def test_photos_that_are_not_there_are_counted():
    assert say_other_photos(8, 0, 0) == ""
    assert say_other_photos(8, 4, 0) == "8 of 12 photos are shown, bakes of different treatments first."
    assert say_other_photos(1, 0, 1) == "The picture of 1 photo is no longer kept."
    assert say_other_photos(0, 0, 2) == "The pictures of 2 photos are no longer kept."
