"""Is every field in which somebody writes safe, on every page there is?

The forms are found on the pages themselves, so that a new page or field is tried without being named here. Each field
is filled with hostile texts while the rest of its form is as the page shows it: a few of the 200, all with
CRUMBWISE_LARGE=1. The answer, and the page it leads to, hold them as text only.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from urllib.parse import urlsplit

import pytest

START = (
    *("/", "/taste", "/sign-in", "/my-pin", "/plan", "/plan/ask", "/plan/own", "/tasting", "/people"),
    *("/results?trial=cookies", "/batch?product=scones", "/batch/one?product=scones&number=9"),
    *("/batch/correct?product=scones&number=9", "/batch/alarms?product=scones", "/run/soda/105", "/formula"),
    "/batch/product",
)


def beside(name):
    """A helper or the strings of another file (tests are no package)."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    sys.modules[name] = module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


shown, kitchen, findings = beside("forms_shown"), beside("full_kitchen"), beside("test_hostile_findings")
STRINGS = findings.STRINGS
EVERY = 1 if findings.hostile.EVERY == 1 else 100


class Reader(findings.Reader):
    """Where a text of the record may stand in an attribute: beside those of the other pages, what a script reads."""

    TEXT = (*findings.Reader.TEXT, "title", "alt", "placeholder", "for", "list", "aria-describedby", "download")

    def handle_starttag(self, tag, attrs):
        kept = [(name, value) for name, value in attrs if not name.startswith("data-")]
        super().handle_starttag(tag, kept)
        self.found += [
            f"{tag} {name}" for name, _ in attrs if name.startswith("data-") and findings.hostile.MARK in name
        ]


def strange(answer) -> list[str]:
    if not answer.headers.get("content-type", "").startswith("text/html"):
        return []
    reader = Reader()
    reader.feed(answer.text)
    reader.close()
    return reader.found


@pytest.fixture
def full(bench_store):
    kitchen.fill(bench_store)
    kitchen.taste(bench_store)
    return bench_store


def one_of_each(forms) -> dict[tuple[str, str, str, str], object]:
    """(method, route, what the form does, field) -> a form that has it."""
    found = {}
    for form in forms:
        route = shown.route_of(form.method, urlsplit(form.action).path)
        for name in form.typed:
            does = form.filled().get("do", "")
            found.setdefault((form.method, route, does, shown.without_numbers(name)), (form, name))
    return found


@pytest.mark.parametrize("role", ["owner", "taster", "nobody"])
def test_hostile_text_in_every_field_of_every_form(role, full, as_role, client, key, monkeypatch):
    monkeypatch.setattr("tracker.bench.pages.signing.pin_is_right", lambda store, person, pin: False)
    tablet = client if role == "nobody" else as_role(role)
    fields = one_of_each(shown.walk(tablet, START)[0])
    wrong = []
    for at, (where, (form, name)) in enumerate(sorted(fields.items(), key=lambda each: str(each[0]))):
        for string in STRINGS[at % EVERY :: EVERY]:
            sent = form.filled() | {name: string}
            if "key" in sent:
                sent["key"] = key()
            how = {"params": sent} if form.method == "GET" else {"data": sent}
            answer = tablet.request(form.method, urlsplit(form.action).path, **how)
            if answer.status_code == 303:
                after = tablet.get(answer.headers["location"])
                wrong += [(where, string, "after", after.status_code)] if after.status_code >= 500 else []
                wrong += [(where, string, found) for found in strange(after)]
            wrong += [(where, string, answer.status_code)] if answer.status_code >= 500 else []
            wrong += [(where, string, found) for found in strange(answer)]
    assert wrong == []
    print(f"{role}: {len(fields)} fields of {len({where[:3] for where in fields})} forms")
    assert len(fields) >= {"owner": 40, "taster": 1, "nobody": 2}[role]


def test_what_was_recorded_is_text_on_every_page(full, as_role, key, monkeypatch):
    """After all of it: every page that can be walked to."""
    tablet = as_role("owner")
    for at, (form, name) in enumerate(one_of_each(shown.walk(tablet, START)[0]).values()):
        if form.method == "POST" and "pin" not in form.fields:
            sent = form.filled() | {name: STRINGS[at % 200]}
            tablet.post(urlsplit(form.action).path, data=sent | ({"key": key()} if "key" in sent else {}))
    wrong, told = [], shown.walk(tablet, START)[1]
    for address in told:
        answer = tablet.get(address)
        wrong += [(address, found) for found in strange(answer)]
        assert answer.status_code < 500, address
    assert wrong == []
    assert len(told) > 30
