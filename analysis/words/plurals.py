"""What are several of a thing called, and which article does one take?

For the names that bakers give: "bake day", "batter batch", "oven shelf", "turn of the day".
"""

from __future__ import annotations

import re

_WITH_VES = ("shelf", "loaf", "half", "leaf", "knife")
_SOUNDS_LIKE_YOU = ("uni", "use", "usual", "eu", "one")


def several(thing: str) -> str:
    """ "bake days", "batter batches", "oven shelves", "turns of the day"; what ends in s is left as it is."""
    head, of, rest = thing.partition(" of ")
    return f"{_several(head)}{of}{rest}"


def _several(head: str) -> str:
    ending = head.casefold()
    if ending.endswith(_WITH_VES):
        return re.sub(r"fe?$", "ves", head)
    if ending.endswith(("ch", "sh", "x", "z", "ss")):
        return f"{head}es"
    if ending.endswith("s"):
        return head
    if re.search(r"[^\W\d_aeiou]y$", ending):
        return f"{head[:-1]}ies"
    return f"{head}s"


def one_of(thing: str) -> str:
    """ "a batch", "an oven load"."""
    begins = thing.casefold()
    vowel = begins.startswith(("a", "e", "i", "o", "u", "hour")) and not begins.startswith(_SOUNDS_LIKE_YOU)
    return f"{'an' if vowel else 'a'} {thing}"
