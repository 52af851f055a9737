"""What stands on every page beside what its sections say: the ways in, what is folded, what is not on paper."""

from __future__ import annotations

TO_THE_ANSWER = "Go to the answer"
INVENTED = "Invented data: nothing on this page was baked."
READ_WITH_IT = "Read this with it"
NUMBERS_OF_PICTURE = "The numbers of this picture"
NOT_ON_PAPER = (
    "Tables that were folded on the screen are not on paper; open one there before printing, and it is. "
    "Of many pictures of one kind the first two are printed."
)
NO_NAME = "(no name)"
TRIAL_REPORT = "Trial report"


def between(low: str, high: str) -> str:
    """ "1.3 to 2.0": a range."""
    return f"{low} to {high}"
