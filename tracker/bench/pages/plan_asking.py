"""What does the address of a plan page say? All that was answered, so that reload and back lose nothing."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from urllib.parse import urlencode

from tracker.errors import InputError
from tracker.intake.plan_tables import LARGEST_SEED
from tracker.workflow.plan_working import draw_seed

NAME = re.compile(
    r"(?:aim|formula|flour|factor|kind|unit|doses|kinds|share|line|hard-to-change|bakes-a-day"
    r"|bakes-at-most|response|response-unit|goal|matters|differ|plausible|title)(?:\.\d{1,2})?"
)
SEVERAL = "hard-to-change"  # the one question whose answers are ticked
LONGEST = 1500
MOST_REPEATS = 20


@dataclass(frozen=True, kw_only=True)
class Asking:
    """``texts``: question -> answer. ``at``: the page to show, ``until``: the page somebody went back from.

    ``choose`` is another design than the advised one, ``times`` how often each treatment is baked.
    """

    texts: Mapping[str, str] = field(default_factory=dict)
    seed: int
    at: str = ""
    until: str = ""
    choose: str = ""
    times: int | None = None

    def fields(self, *, without: Iterable[str] = ()) -> list[tuple[str, str]]:
        """Hidden fields that bring all of it along."""
        left = set(without)
        pairs = [("seed", str(self.seed)), *self.texts.items()]
        pairs += [("until", self.until)] if self.until else []
        pairs += [("choose", self.choose)] if self.choose else []
        pairs += [("times", str(self.times))] if self.times else []
        return [(name, text) for name, text in pairs if name not in left]

    def address(self, path: str, **more: str) -> str:
        """The page ``path`` with all of it; ``more`` replaces or adds, "" leaves out."""
        pairs = [(name, text) for name, text in self.fields() if name not in more]
        pairs += [(name, text) for name, text in more.items() if text]
        return f"{path}?{urlencode(pairs)}"


def read_asking(pairs: Iterable[tuple[str, str]]) -> Asking:
    """What an address or a form says; names that are no question are left alone. Raises InputError."""
    said: dict[str, list[str]] = {}
    for name, text in pairs:
        said.setdefault(name, []).append(text)
    texts = {}
    for name, given in said.items():
        if NAME.fullmatch(name):
            texts[name] = _joined(name, given)
            if len(texts[name]) > LONGEST:
                raise InputError("An answer is far too long.", where=name, try_this="a shorter one")
    at, page = _last(said, "at"), _last(said, "page")
    until = _last(said, "until")
    if page == until:
        until = ""  # this page was confirmed
    if at and page and page != at:
        until = until or page  # gone back from here
    return Asking(
        texts=texts,
        seed=_whole(_last(said, "seed")[:11], draw_seed()),
        at=at,
        until=until,
        choose=_last(said, "choose")[:100],
        times=_times(_last(said, "times")),
    )


def _joined(name: str, given: list[str]) -> str:
    """The last of several: a button stands behind its field. Ticks are joined."""
    if name == SEVERAL:
        return ", ".join(text.strip() for text in given if text.strip())
    return " ".join(given[-1].split())


def _last(said: Mapping[str, list[str]], name: str) -> str:
    return said.get(name, [""])[-1].strip()


def _whole(text: str, otherwise: int) -> int:
    return int(text) if text.isascii() and text.isdigit() and int(text) <= LARGEST_SEED else otherwise


def _times(text: str) -> int | None:
    if not text:
        return None
    value = _whole(text, 0)
    if not 1 <= value <= MOST_REPEATS:
        raise InputError(f'"{text[:40]}" is no number of repeats.', where="repeats", try_this=f"1 to {MOST_REPEATS}")
    return value
