"""Which forms do the pages show, and with which fields?

Walks from page to page as a reader of a role would, and reads every form: a field that a template gains is found here
by itself. Tests load this file beside them; it is no test.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import parse_qsl, unquote, urlsplit

from fastapi.routing import APIRoute

from tracker.bench.pages import PAGES

TYPED = ("text", "search", "number", "tel", "password", "date", "time", "datetime-local", "email", "textarea", "")
MOST_OF_A_ROUTE = 3  # pages walked to for each route: the forms of a tenth run are those of the first


@dataclass
class Form:
    """``fields``: name -> (kind of its input, values it was shown with)."""

    action: str
    page: str
    fields: dict[str, tuple[str, list[str]]] = field(default_factory=dict)
    multipart: bool = False
    method: str = "POST"

    @property
    def typed(self) -> list[str]:
        """Fields in which a person writes."""
        return [name for name, (kind, _) in self.fields.items() if kind in TYPED]

    def filled(self) -> dict[str, str]:
        """As a browser would send it untouched, with a tick in every box."""
        return {name: next((value for value in values if value), "") for name, (_, values) in self.fields.items()}


class Reader(HTMLParser):
    """Forms and local links of one page."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.page, self.forms, self.links = page, [], []
        self.form: Form | None = None
        self.select = self.area = ""

    def handle_starttag(self, tag, attrs):
        told = {name: value or "" for name, value in attrs}
        if tag == "a" and told.get("href", "").startswith("/"):
            self.links.append(told["href"].partition("#")[0])
        if tag == "form":
            self.form = Form(
                told.get("action") or self.page,
                self.page,
                multipart="multipart" in told.get("enctype", ""),
                method=told.get("method", "get").upper(),
            )
            self.forms.append(self.form)
        if self.form is not None and told.get("formaction"):  # the same fields, sent elsewhere
            self.forms.append(Form(told["formaction"], self.page, self.form.fields, self.form.multipart))
        named = told.get("name", "")
        if self.form is None or not (named or tag == "option"):
            return
        if tag == "input":
            self._found(named, told.get("type", "text"), told.get("value", ""))
        elif tag == "button":
            self._found(named, "button", told.get("value", ""))
        elif tag == "textarea":
            self.area = named
            self._found(named, "textarea", "")
        elif tag == "select":
            self.select = named
            self._found(named, "select", None)
        elif tag == "option" and self.select:
            self._found(self.select, "select", told.get("value", ""))

    def handle_data(self, data):
        if self.area and self.form is not None:
            self.form.fields[self.area][1].append(data)

    def handle_endtag(self, tag):
        if tag == "form":
            self.form = None
        elif tag == "textarea":
            self.area = ""
        elif tag == "select":
            self.select = ""

    def _found(self, name, kind, value):
        known = self.form.fields.setdefault(name, (kind, []))
        if value is not None:
            known[1].append(value)


def route_of(method: str, path: str) -> str:
    """The route that answers, as it is written: "/run/{trial:path}/{code}"; "" for none."""
    for each in PAGES:
        for route in each.router.routes:
            if isinstance(route, APIRoute) and method in route.methods and route.path_regex.match(path):
                return route.path
    return ""


def asked_in(addresses: list[str]) -> dict[tuple[str, str], set[str]]:
    """(route, name) -> what addresses write there, in the path or behind the question mark."""
    found: dict[tuple[str, str], set[str]] = {}
    for address in addresses:
        parts = urlsplit(address)
        path = unquote(parts.path)
        for each in PAGES:
            for route in each.router.routes:
                matched = route.path_regex.match(path) if isinstance(route, APIRoute) else None
                for name, value in matched.groupdict().items() if matched else ():
                    found.setdefault((route.path, name), set()).add(value)
        for name, value in parse_qsl(parts.query):
            found.setdefault((route_of("GET", path), name), set()).add(value)
    return found


def walk(tablet, start=("/",)) -> tuple[list[Form], list[str]]:
    """Every form that a reader finds, and every address that a page led to."""
    waiting, seen, walked, found, told = list(start), set(), {}, [], list(start)
    while waiting:
        address = waiting.pop(0)
        route = route_of("GET", urlsplit(address).path)
        if address in seen or not route or walked.get(route, 0) >= MOST_OF_A_ROUTE or "download" in address:
            continue
        seen.add(address)
        walked[route] = walked.get(route, 0) + 1
        answer = tablet.get(address)
        if answer.status_code in (302, 303):
            waiting.append(answer.headers["location"].partition("#")[0])
        if not answer.headers.get("content-type", "").startswith("text/html"):
            continue
        reader = Reader(address)
        reader.feed(answer.text)
        found += reader.forms
        waiting += reader.links
        told += reader.links
    return found, sorted(set(told))


def without_numbers(name: str) -> str:
    """ "percent:12" as "percent:#": a field of a line that can be there any number of times."""
    return re.sub(r"\d+", "#", name)
