"""On which scale was a column scored, and in which order do its words stand?

"Sat:score(Low<Medium<High)" names the order. Without it, words of a known ladder (low, medium, high)
keep that order, others the order in which they first appear; either way the order taken is reported.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tracker.errors import InputError, UsageError
from tracker.intake.columns import SCALES, guess_kind, numbers_of, split_kind, texts_of
from tracker.intake.spreadsheet import Sheet, nearest

BELOW = "<"
# Ladders of plain words, lowest first; common practice, no source.
LADDERS = (
    ("none", "very low", "low", "medium", "high", "very high"),
    ("none", "slight", "moderate", "strong", "very strong"),
    ("very bad", "bad", "poor", "fair", "good", "very good", "excellent"),
    ("never", "rarely", "sometimes", "often", "always"),
    ("small", "medium", "large"),
    ("no", "yes"),
    ("first", "second", "third", "fourth", "fifth"),
    ("strongly disagree", "disagree", "neither", "agree", "strongly agree"),
)


@dataclass(frozen=True, kw_only=True)
class ScaleSaid:
    """``name`` of the column ("" when none was said), the scale, and its words from lowest to highest."""

    name: str
    scale: str
    words: tuple[str, ...] = ()


def read_scale(text: str) -> ScaleSaid:
    """ "crumb:score", "score", or "Sat:score(Low<Medium<High)". Raises UsageError."""
    body, words = _split_words(text)
    if body in SCALES:
        return ScaleSaid(name="", scale=body, words=words)
    name, scale = split_kind(body, SCALES, option="--scale")
    if scale is None:
        raise UsageError(f'"{text}" names no scale.', where="--scale", try_this=f'--scale "{text}:score"')
    if words and scale != "score":
        raise UsageError(
            f"Only scores have words in an order; {name} is {scale}.",
            where="--scale",
            try_this=f'--scale "{name}:score({BELOW.join(words)})"',
        )
    return ScaleSaid(name=name, scale=scale, words=words)


def _split_words(text: str) -> tuple[str, tuple[str, ...]]:
    body = text.strip()
    if not body.endswith(")") or "(" not in body:
        return body, ()
    head, _, inside = body[:-1].partition("(")
    if BELOW not in inside:
        return body, ()
    words = tuple(word.strip() for word in inside.split(BELOW))
    if "" in words or len({word.casefold() for word in words}) < len(words):
        raise UsageError(
            f'"{inside}" is no order: each word stands there once, lowest first.',
            where="--scale",
            try_this=f'--scale "{head.strip()}(Low<Medium<High)"',
        )
    return head.strip(), words


def scores_of(sheet: Sheet, column: str, words: Sequence[str]) -> tuple[list[float | None], tuple[str, ...], str]:
    """The column as numbers 1, 2, 3 … with the words they stand for ("" where they are numbers), and a remark.

    Raises InputError for a word that is none of ``words``.
    """
    cells = sheet.column(column)
    if not words and guess_kind(cells) == "amount":
        return numbers_of(sheet, column), (), ""
    texts = texts_of(sheet, column)
    if words:
        return _codes(texts, tuple(words), sheet, column), tuple(words), ""
    found = list(dict.fromkeys(text for text in texts if text is not None))
    if len(found) > max(len(ladder) for ladder in LADDERS) + 4:
        return numbers_of(sheet, column), (), ""  # names the cells that are no numbers
    order, why = _order(found)
    told = f" {BELOW} ".join(order)
    remark = (
        f"The words of {column} were put in the order {told} ({why}); another order: "
        f'--scale "{column}:score({BELOW.join(order)})".'
    )
    return _codes(texts, order, sheet, column), order, remark


def _order(found: Sequence[str]) -> tuple[tuple[str, ...], str]:
    plain = {word.casefold(): word for word in found}
    for ladder in LADDERS:
        if set(plain) <= set(ladder):
            return tuple(plain[word] for word in ladder if word in plain), "as such words go"
    return tuple(found), "as they appear in the file"


def _codes(texts: Sequence[str | None], words: tuple[str, ...], sheet: Sheet, column: str) -> list[float | None]:
    places = {word.casefold(): float(at) for at, word in enumerate(words, start=1)}
    found: list[float | None] = []
    for row, text in enumerate(texts):
        if text is None:
            found.append(None)
        elif text.casefold() in places:
            found.append(places[text.casefold()])
        else:
            raise InputError(
                f'"{text}" is none of the scores {", ".join(words)}.',
                where=sheet.place(row, column),
                try_this=f'Did you mean "{nearest(text, list(words)) or words[0]}"?',
            )
    return found
