"""Where do two reports differ, and what stands there in each?"""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import unescape
from itertools import zip_longest
from typing import Any

MOST_LINES = 3  # of each section
AROUND = 60  # characters shown on each side of the first that differs
_SECTION = re.compile(r'<section class="([^"<>]*)"')
_TITLE = re.compile(r"<h2[^>]*>(.*?)</h2>")


@dataclass(frozen=True, kw_only=True)
class Unlike:
    """A section that differs: its title, the first lines that do ("in the file", "made again"), how many do."""

    title: str
    pairs: tuple[tuple[str, str], ...]
    count: int

    def lines(self) -> list[str]:
        """As text, indented under its title."""
        told = [f'In "{self.title}":']
        for then, now in self.pairs:
            told += [f"  in the file: {then}", f"  made again:  {now}"]
        more = self.count - len(self.pairs)
        if more > 0:
            told.append(f"  and {more} more line{'s' if more > 1 else ''}")
        return told

    def to_json(self) -> dict[str, Any]:
        pairs = [{"in_the_file": then, "made_again": now} for then, now in self.pairs]
        return {"section": self.title, "lines": pairs, "lines_that_differ": self.count}


def unlike_sections(file: str, made: str) -> tuple[Unlike, ...]:
    """The sections of two pages that are unlike, in the order of the page."""
    ours, theirs = _sections(made), _sections(file)
    found = []
    for key in dict.fromkeys((*ours, *theirs)):
        then, now = theirs.get(key, ""), ours.get(key, "")
        if then != now:
            found.append(_unlike(_title(key, now or then), then, now))
    return tuple(found)


def _sections(page: str) -> dict[str, str]:
    """Section -> its text; what stands before the first is "head". A name met twice gets a number."""
    starts = list(_SECTION.finditer(page))
    ends = [*(each.start() for each in starts), len(page)]
    found = {"head": page[: ends[0]]}
    for number, start in enumerate(starts):
        key = start[1] if start[1] not in found else f"{start[1]} {number}"
        found[key] = page[start.start() : ends[number + 1]]
    return found


def _title(key: str, text: str) -> str:
    titled = _TITLE.search(text)
    return _shown(re.sub(r"<[^>]*>", "", titled[1])) if titled and key != "head" else key


def _unlike(title: str, then: str, now: str) -> Unlike:
    # Ends of lines are kept: a file that was saved with others differs in nothing else.
    lines = zip_longest(then.splitlines(keepends=True), now.splitlines(keepends=True), fillvalue="")
    pairs = [(a, b) for a, b in lines if a != b]
    shown = tuple((_excerpt(a, b), _excerpt(b, a)) for a, b in pairs[:MOST_LINES])
    return Unlike(title=title, pairs=shown, count=len(pairs))


def _excerpt(line: str, other: str) -> str:
    """What stands around the first character that differs; whole where the line is short."""
    if not line:
        return "(nothing)"
    if line.rstrip("\r\n") == other.rstrip("\r\n"):
        return f"the same with {line[len(line.rstrip(chr(13) + chr(10))) :]!r} at its end"
    at = next((at for at, (a, b) in enumerate(zip(line, other, strict=False)) if a != b), min(len(line), len(other)))
    begin, end = max(0, at - AROUND), at + AROUND
    text = _shown(line[begin:end].rstrip("\r\n"))
    return ("…" if begin else "") + text + ("…" if end < len(line.rstrip()) else "")


def _shown(text: str) -> str:
    """Safe for a terminal: no character of it can move the cursor or hide another."""
    return "".join(each if each.isprintable() else f"\\u{ord(each):04x}" for each in unescape(text))
