"""Is every text a text, whatever stands in it?

200 strings in every field of every form of the pages: nothing of them becomes an element, an
attribute or a script, neither where they are refused nor where they are shown again.
"""

from __future__ import annotations

import os
from html.parser import HTMLParser
from itertools import islice, product

import pytest

from tracker.bench.kit import environment
from tracker.workflow.accounts import named
from tracker.workflow.people import list_people

MARK = "pwn"
TAGS = ["script", "img", "svg", "iframe", "body", "a", "input", "style", "math", "template", "object", "link"]
BREAKS = ["", '">', "'>", "</textarea>", "</title>", "-->", "]]>", "{{", "\u2028", "\\", "`", "%22%3E", "&quot;&gt;"]
HANDLERS = [
    "onerror={0}()",
    "onload={0}()",
    "onfocus={0}() autofocus",
    "href=javascript:{0}()",
    "style=x:{0}",
    "srcdoc={0}",
]
CROSSED = [
    f"{broken}<{tag} {handler.format(MARK)} {MARK}>" for broken, tag, handler in product(BREAKS, TAGS, HANDLERS)
][::5]
ODD = [
    f"javascript:{MARK}()",
    f"{{{{ {MARK} }}}}",
    f"{{% {MARK} %}}",
    f"${{{MARK}}}",
    f"=cmd|'{MARK}'!A1",
    f"\u202e<{MARK}>\u202c",
    f"<scr<script>ipt>{MARK}()</scr</script>ipt>",
    f"\uff1cscript\uff1e{MARK}()\uff1c/script\uff1e",
    f"' {MARK}='1",
    f'" {MARK}="1',
    f"` {MARK}=`1",
    f"x onmouseover={MARK}()",
    f"<!--<img src=x {MARK}>-->",
    f"<![CDATA[<{MARK}>]]>",
    f"<?{MARK}?>",
    f"</{MARK}>",
    f"<{MARK}:b>",
    f"&lt;{MARK}&gt;<{MARK}>",
    f"&#60;{MARK}&#62;",
    f"<a href='java\tscript:{MARK}()'>",
]
STRINGS = [*CROSSED[:180], *ODD]
EVERY = 1 if os.environ.get("CRUMBWISE_LARGE") else 8  # each field gets all of them in the long run


class Reader(HTMLParser):
    """Elements and attributes that hold the mark, other than as the text of a value that is shown."""

    TEXT = ("value", "aria-label", "content", "href", "action", "id", "for")
    TEXT += ("data-draft", "data-name", "data-ticks", "data-tick")  # our scripts take them as text

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[str] = []
        self.elements = 0

    def handle_starttag(self, tag, attrs):
        self.elements += 1
        if MARK in tag:
            self.found.append(tag)
        for name, value in attrs:
            if MARK in name or name.startswith("on") or name in ("style", "srcdoc"):
                self.found.append(f"{tag} {name}")
            if name in ("href", "action", "src", "formaction") and not (value or "").startswith(("/", "#")):
                self.found.append(f"{tag} {name}={value}")
            if value and MARK in value and name not in self.TEXT:
                self.found.append(f"{tag} {name}={value}")

    def handle_comment(self, data):
        self.found.append(data)

    handle_decl = unknown_decl = handle_pi = lambda self, data: (  # type: ignore[assignment]
        self.found.append(data) if data.lower() != "doctype html" else None
    )


def strange(answer):
    reader = Reader()
    reader.feed(answer.text)
    reader.close()
    return reader.found


def test_there_are_200_different_strings():
    assert len(STRINGS) == len(set(STRINGS)) == 200


def test_the_reader_finds_what_it_looks_for():
    class Answer:
        text = f"<p><b onclick='{MARK}()'>x</b><{MARK}><a href='javascript:1'>y</a><!--c-->"

    assert len(strange(Answer)) == 5


def test_every_template_is_escaped():
    made = environment()
    assert made.autoescape is True
    folder = made.loader.searchpath[0]
    from pathlib import Path

    for path in Path(folder).rglob("*.html"):
        words = path.read_text(encoding="utf-8")
        assert "|safe" not in words.replace(" ", ""), path
        assert "autoescape" not in words, path
        assert "<script>" not in words, path
        assert "style=" not in words, path
        assert " onclick" not in words, path


FORMS = {
    "/run/soda/108": [
        {"do": "reading", "response": "*", "value": "1", "repeat": "1", "place": "r1-0-1"},
        {"do": "reading", "response": "rise height", "value": "*", "repeat": "1", "place": "r1-0-1"},
        {"do": "reading", "response": "rise height", "value": "9", "reason": "*", "place": "r1-0-1"},
        {"do": "moment", "what": "*", "place": "times"},
        {"do": "moment", "what": "begun", "moment": "*", "place": "times"},
        {"do": "weighed", "ingredient": "*", "value": "1", "place": "w1"},
        {"do": "weighed", "ingredient": "salt", "value": "*", "place": "w1"},
        {"do": "outcome", "state": "*", "place": "outcome"},
        {"do": "outcome", "state": "failed", "reason": "*", "deviations": "*", "place": "outcome"},
        {"do": "outcome", "state": "done", "oven": "*", "deviations": "*", "place": "outcome"},
        {"do": "note", "words": "*", "tag": "*", "place": "note"},
        {"do": "undo", "table": "*", "number": "1", "place": "history"},
        {"do": "*", "place": "*"},
    ],
    "/people": [
        {"do": "add", "name": "*", "role": "baker", "pin": "12"},
        {"do": "add", "name": "Eve", "role": "*", "pin": "6412"},
        {"do": "role", "person": "2", "role": "baker", "reason": "*"},
        {"do": "*"},
    ],
}


@pytest.mark.parametrize(("to", "form"), [(to, form) for to, forms in FORMS.items() for form in forms])
def test_a_form_with_hostile_text_shows_text(as_role, to, form):
    tablet = as_role("owner")
    for at, string in enumerate(islice(STRINGS, len("".join(form)) % EVERY, None, EVERY)):
        data = {name: string if value == "*" else value for name, value in form.items()}
        answer = tablet.post(to, data={**data, "key": f"hostile-{at:04}"})
        assert answer.status_code < 500, string
        assert strange(answer) == [] if answer.text else True, string


def test_hostile_text_that_was_kept_is_shown_as_text(as_role, bench_store):
    """All 200 at once, as notes, deviations and names; then every page that shows them."""
    tablet = as_role("owner")
    for at in range(0, 200, 20):
        words = "\n".join(STRINGS[at : at + 20])
        data = {"do": "note", "words": words, "tag": STRINGS[at : at + 20], "place": "note", "key": f"kept-{at:08}"}
        assert tablet.post("/run/soda/108", data=data).status_code == 303
    gone = {
        "do": "outcome",
        "state": "done",
        "deviations": "\n".join(STRINGS[:40]),
        "place": "outcome",
        "key": "gone-0001",
    }
    assert tablet.post("/run/soda/108", data=gone).status_code == 303
    for at in (0, 60, 185, 199):
        hostile = STRINGS[at][:70]
        data = {"do": "add", "name": hostile, "role": "baker", "pin": "6412", "key": f"name-{at:08}"}
        assert tablet.post("/people", data=data).status_code == 303
        assert named(bench_store, hostile) is not None
    assert len(list_people(bench_store)) == 9
    for path in ("/", "/people", "/run/soda/108", "/run/soda/107", "/sign-in", "/run?code=1"):
        answer = tablet.get(path)
        assert answer.status_code in (200, 404)
        assert strange(answer) == []
    assert tablet.get("/run/soda/108").text.count(MARK) > 200


@pytest.mark.parametrize("path", ["/sign-in", "/start"])
def test_signing_in_with_hostile_text(client, path, monkeypatch):
    monkeypatch.setattr("tracker.bench.pages.signing.pin_is_right", lambda store, person, pin: False)
    for string in STRINGS:
        data = {"name": string, "pin": string, "code": string, "next": string, "person": string, "kept:words": string}
        answer = client.post(path, data=data)
        assert answer.status_code < 500
        assert strange(answer) == []


def test_hostile_addresses(client, as_role):
    tablet = as_role("owner")
    for string in STRINGS[::8]:
        for asked in (
            f"/run/{string}/1",
            f"/{string}",
            f"/run?code={string}",
            f"/sign-in?next={string}&person={string}",
            f"/?saved={string}",
        ):
            answer = tablet.get(asked.replace("#", "%23").replace("\\", "%5C"))
            assert answer.status_code < 500
            assert strange(answer) == []
