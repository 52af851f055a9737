"""What do pictures of taste words, scores and assessors say?"""

from __future__ import annotations

from collections.abc import Iterable

FROM_THE_OTHERS = "difference from the others"
PANEL_TITLE = "Assessors against the rest of the panel"
COLUMNS_OF_PANEL = ("assessor", "bakes", "mean", "from the others", "low", "high", "spread", "of the others", "p")
OF_YES = "of yes"
LOWEST = "Lowest"
HIGHEST = "Highest"
OF_EACH_SCORE = "of each score"
YES_NO_CAPTION = "Fitted shares of no (left) and yes (right) in percent. Diamonds: the share of yes with its interval."
AND = " and "
TASTE_TITLE = "Taste notes by treatment"
COLUMNS_OF_TASTE = ("treatment", "word", "notes with it", "notes in all")
TASTE_CAPTION = (
    "The larger the dot, the larger the share of that treatment's notes that hold the word; the number counts them."
)


def assessor_named(person: int) -> str:
    return f"assessor {person}"


def panel_caption(confidence: str) -> str:
    return f"Each assessor's mean difference from the others, {confidence} interval. Squares lie clearly apart."


def share_yes(mean: str) -> str:
    return f"{mean} yes"


def scores_title(response: str) -> str:
    return f"Shares of {response}"


def scores_axis(response: str, of: str) -> str:
    return f"{response}: share {of}"


def expected_score(named: str, mean: str) -> str:
    return f"expected {named} {mean}"


def scores_alt(named: str, count: int, which: str, best: str, said: str) -> str:
    return f"Shares of {named} at {count} treatments. {which}: {best}, {said}."


def scores_caption(lowest: str, highest: str) -> str:
    return (
        f"Fitted share of each score in percent, from {lowest} (left) to {highest} (right). Diamonds: "
        "the expected score with its interval, on the run from the lowest to the highest."
    )


def columns_of_scores(labels: Iterable[str]) -> tuple[str, ...]:
    return ("treatment", *labels, "expected", "low", "high", "given so often")


def some_of(most: int, count: int, what: str) -> str:
    return f"{most} of {count} {what}"


def tag_with(tag: str, treatment: str) -> str:
    return f'"{tag}" with {treatment}'


def drawn_are(said: str, left_out: str) -> str:
    return f"{said} Drawn are {left_out}; the table has all."


def taste_alt(where: str, count: int, notes: int) -> str:
    return f"Taste words by treatment. Most often {where}: {count} of {notes} notes."


def rows_are(factors: str) -> str:
    return f" Each row is a treatment: {factors}."
