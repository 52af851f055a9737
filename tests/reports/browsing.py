"""How is a page looked at: by a real browser, and by the standard library's parser?"""

from __future__ import annotations

import re
from collections import Counter
from html.parser import HTMLParser

VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


class Page(HTMLParser):
    """What a page is made of, read by the standard library's parser; ``faults`` are tags that do not close."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.faults: list[str] = []
        self.tags: Counter[str] = Counter()
        self.attributes: Counter[tuple[str, str]] = Counter()
        self.values: list[tuple[str, str, str]] = []
        self.ids: Counter[str] = Counter()
        self.headings: list[int] = []
        self.words: list[str] = []
        self.feed(page)
        self.close()
        self.faults += [f"never closed: {tag}" for tag in self.open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        if tag not in VOID:
            self.open.append(tag)
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append(int(tag[1]))
        for name, value in attrs:
            self.attributes[tag, name] += 1
            self.values.append((tag, name, value or ""))
            if name == "id":
                self.ids[value or ""] += 1

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if self.open and self.open[-1] == tag:
            self.open.pop()
        else:
            self.faults.append(f"{tag} closes nothing at {self.getpos()}")

    def handle_data(self, data: str) -> None:
        if not {"style", "svg"} & set(self.open):
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())
