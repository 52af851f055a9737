"""Does the page of links show every file, and nothing that a name could smuggle in?"""

from __future__ import annotations

from html.parser import HTMLParser

from reports.overview import Chapter, Link, overview_page


class Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.words = ""

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.links += [value for name, value in attrs if name in ("href", "src")]

    def handle_data(self, data):
        self.words += data


def read(**changed) -> Reader:
    chapter = {
        "title": "Soda",
        "question": "How much?",
        "answers": ("1.7 % is best.", "The acid hardly counts."),
        "links": (Link(words="report", href="soda/report.html"), Link(words="sheet", href="soda/sheet.html")),
    }
    page = overview_page("Demo", opening="All invented.", chapters=[Chapter(**{**chapter, **changed})], closing="End.")
    reader = Reader()
    reader.feed(page)
    return reader


def test_everything_given_stands_on_the_page():
    page = read()
    assert page.links == ["soda/report.html", "soda/sheet.html"]
    said = ("Demo", "All invented.", "Soda", "How much?", "1.7\u00a0% is best.", "The acid hardly counts.", "End.")
    for words in said:
        assert words in page.words


def test_names_stay_words():
    page = read(title="<script>alert(1)</script>", answers=('<img src="x">',))
    assert "script" not in page.tags
    assert "img" not in page.tags
    assert "<script>alert(1)</script>" in page.words


def test_numbers_of_answers_are_read_with_a_true_minus_and_whole():
    chapter = Chapter(title="Soda", answers=("A gap of -4.3 (95 % interval).",), links=())
    page = overview_page("Kitchen", opening="Invented.", chapters=[chapter])
    assert "−4.3 (95\u00a0% interval)" in page
