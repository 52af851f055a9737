"""How far is somebody through the questions of a plan, when every answer may be changed at any time?

Each question has a name that stays when others change ("doses.2" is about the second thing), so
that an answer which was given once is there again wherever it still fits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tracker.errors import InputError
from tracker.workflow.question_script import Formulas
from tracker.workflow.questions import Interview
from tracker.workflow.wishes import Asked, Wishes

__all__ = ["Answered", "Field", "Walk", "walk"]

# Questions whose words do not hang on each other share a page.
TOGETHER = (
    ("bakes-a-day", "bakes-at-most"),
    ("response-unit", "goal"),
    ("matters", "differ"),
    ("differ", "plausible"),
)
THING = ("factor", "kind", "unit", "doses", "kinds", "share", "line")
READING = ("response", "response-unit", "goal", "matters", "differ", "plausible")
MOST_QUESTIONS = 120
# Their defaults are made from answers before; left as they stood, they follow when those change.
FOLLOWS = ("unit", "doses", "line", "response-unit", "plausible", "title")


@dataclass(frozen=True, kw_only=True)
class Answered:
    """A question with the text that was given; "" is its default. ``head``: does a page begin with it?"""

    name: str
    asked: Asked
    text: str
    head: bool

    @property
    def said(self) -> str:
        """The answer as one would say it: the words of a choice, the names of what was ticked."""
        text = self.text or self.asked.default
        words = self.asked.choices or (self.asked.offers if self.asked.many else ())
        parts = [part.strip() for part in text.split(",")] if self.asked.many else [text]
        return ", ".join(
            words[int(part) - 1] if part.isdecimal() and 1 <= int(part) <= len(words) else part for part in parts
        )


@dataclass(frozen=True, kw_only=True)
class Field:
    """A question as it stands on a page; ``refusal`` says why ``text`` cannot be."""

    name: str
    asked: Asked
    text: str
    refusal: InputError | None = None

    @property
    def value(self) -> str:
        return self.text or self.asked.default


@dataclass(frozen=True, kw_only=True)
class Walk:
    """``answered`` lie before ``page``, the questions to show now; no page: ``wishes`` are whole."""

    answered: tuple[Answered, ...]
    page: tuple[Field, ...]
    wishes: Wishes

    @property
    def numbered(self) -> str:
        """Which questions stand on the page: "Question 11", "Questions 12 and 13"."""
        first, last = len(self.answered) + 1, len(self.answered) + len(self.page)
        if last <= first:
            return f"Question {first}"
        return f"Questions {first} {'and' if last == first + 1 else 'to'} {last}"

    @property
    def before(self) -> str:
        """The page before this one by its first question; "" at the first."""
        heads = [each.name for each in self.answered if each.head]
        return heads[-1] if heads else ""


def walk(formulas: Formulas, texts: Mapping[str, str], *, at: str = "", until: str = "") -> Walk:
    """Ask what has no answer yet. ``at``: show that question though it has one; ``until``: go no further than it."""
    interview = Interview(formulas)
    answered: list[Answered] = []
    counts = {"factor": 0, "response": 0}
    while interview.question is not None and len(answered) < MOST_QUESTIONS:
        asked = interview.question
        name = _name(asked, counts)
        text = _as_default(texts.get(name, ""), asked)
        if name not in texts or name in (at, until):
            return Walk(answered=tuple(answered), page=_page(interview, counts, texts, name), wishes=interview.wishes)
        refusal = interview.answer(text)
        if refusal is not None:
            return Walk(answered=tuple(answered), page=_page(interview, counts, texts, name), wishes=interview.wishes)
        head = not (answered and _together(answered[-1].name, name))
        answered.append(Answered(name=name, asked=asked, text=text, head=head))
    return Walk(answered=tuple(answered), page=(), wishes=interview.wishes)


def _page(interview: Interview, counts: dict[str, int], texts: Mapping[str, str], name: str) -> tuple[Field, ...]:
    """The question ``name``, which is the interview's, and those that share its page."""
    fields: list[Field] = []
    while interview.question is not None:
        asked = interview.question
        text = _as_default(texts.get(name, ""), asked)
        refusal = interview.answer(text) if text else None
        # An empty text is the default and always fits; it must be answered to see what comes next.
        if not text:
            refusal = interview.answer("")
        fields.append(Field(name=name, asked=asked, text=text, refusal=refusal))
        if refusal is not None:
            interview.answer("")
        if interview.question is None:
            break
        following = _name(interview.question, counts)
        if not _together(name, following):
            break
        name = following
    return tuple(fields)


def _together(one: str, other: str) -> bool:
    """Do two questions that follow each other share a page?"""
    first, second = one.partition("."), other.partition(".")
    return (first[0], second[0]) in TOGETHER and first[2] == second[2]


def _name(asked: Asked, counts: dict[str, int]) -> str:
    """ "aim", "doses.2", "goal.1". A new thing or reading counts on."""
    key = asked.key.replace(" ", "-")
    if key in counts:
        counts[key] += 1
    if key in THING:
        return f"{key}.{counts['factor']}"
    if key in READING:
        return f"{key}.{counts['response']}"
    return key


def _as_default(text: str, asked: Asked) -> str:
    """ "" where a default was left as it stood that follows what it was made from."""
    text = " ".join(text.split())
    follows = asked.key.replace(" ", "-") in FOLLOWS
    return "" if follows and text.casefold() == asked.default.casefold() else text
