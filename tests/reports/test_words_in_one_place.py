"""Templates place words and hold none: another language needs another catalogue, not other pages."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

TEMPLATES = Path(__file__).parents[2] / "reports" / "templates"
_JINJA = re.compile(r"(?:\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\})+", re.DOTALL)
_WORD = re.compile(r"[^\W\d_]{2,}")


class _Bare(HTMLParser):
    """Text and read-aloud attributes that stand in a template itself."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag, attrs):
        for name, value in attrs:
            if name in {"alt", "aria-label", "title"}:
                self.handle_data(value or "")

    def handle_data(self, data):
        if _WORD.search(data):
            self.found.append(data.strip())


def bare(template: str) -> list[str]:
    reader = _Bare()
    reader.feed(_JINJA.sub("x", template))  # one letter is no word
    return reader.found


def test_no_template_holds_words():
    said = {path.name: bare(path.read_text(encoding="utf-8")) for path in TEMPLATES.glob("*.html")}
    assert {name: found for name, found in said.items() if found} == {}
    assert {"labels.html", "oven_map.html", "report.html", "sheet.html", "weighing_list.html"} <= set(said)


def test_bare_words_are_found_in_text_and_in_what_is_read_aloud():
    assert bare("<p>{{ said }} of soda</p>") == ["x of soda"]
    assert bare('<svg aria-label="a loaf">{{ x }}</svg>') == ["a loaf"]
    assert bare("<p>{% if spare %}{{ words.with_spare(spare) }}{% endif %}: {{ n }}</p>") == []
