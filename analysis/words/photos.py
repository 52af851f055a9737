"""What is said beside a photo of a bake?"""

from __future__ import annotations

from datetime import date

from analysis.words.batch_pages import say_day
from analysis.words.numbers import say_count, start

TITLE = "Photos"
WHILE_TASTING = "Photos show which bake is which: they are left out while a tasting of these bakes is open."


def say_photo(bake: str, piece: int | None, treatment: str, words: str = "") -> str:
    """What is to be seen, for somebody who does not see it: "Photo of bake 541, piece 2: soda 1.5 % flour"."""
    of = f"bake {bake}" + (f", piece {piece}" if piece else "")
    return f"Photo of {of}" + (f": {treatment}" if treatment else "") + (f". Noted: {words}" if words else "")


def say_below_photo(bake: str, piece: int | None, treatment: str, words: str, who: str, day: date) -> str:
    """ "Bake 541, piece 2: soda 1.5 % flour. A split crust. Taken by Imke on Thursday 26 November 2026."."""
    of = f"Bake {bake}" + (f", piece {piece}" if piece else "")
    seen = f" {start(words.rstrip('.'))}." if words else ""
    by = f" by {who}" if who else ""
    return f"{of}" + (f": {treatment}" if treatment else "") + f".{seen} Taken{by} on {say_day(day)}."


def say_other_photos(shown: int, further: int, gone: int) -> str:
    """Which photos are not there: ``further`` ones beside those shown, and those ``gone`` from the record; or ""."""
    said = []
    if further:
        said.append(f"{shown} of {say_count(shown + further, 'photo')} are shown, bakes of different treatments first.")
    if gone:
        said.append(
            "The picture of 1 photo is no longer kept."
            if gone == 1
            else f"The pictures of {say_count(gone, 'photo')} are no longer kept."
        )
    return " ".join(said)
