"""Who comes in where? The matrix is made from the routes, so that a new page cannot be forgotten."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from fastapi.routing import APIRoute

from tracker.bench.guard import HEADERS
from tracker.bench.kit import Needs
from tracker.bench.pages import MENU, PAGES
from tracker.workflow.accounts import LADDER

PUBLIC = {"/sign-in", "/sign-out", "/start", "/taste", "/taste/code", "/trust", "/trust/root"}
FILLED = {"trial": "soda", "code": "108", "product": "loaf", "batch": "B1", "number": "1"}


def routes() -> Iterator[tuple[str, str, str | None]]:
    """(method, path with its places filled, least role or None)."""
    for each in PAGES:
        for route in each.router.routes:
            assert isinstance(route, APIRoute)
            roles = [part.call.role for part in route.dependant.dependencies if isinstance(part.call, Needs)]
            assert len(roles) <= 1
            path = re.sub(r"{(\w+)(?::\w+)?}", lambda found: FILLED.get(found[1], "1"), route.path)
            for method in sorted(route.methods or ()):
                yield method, path, roles[0] if roles else None


ALL = sorted(set(routes()), key=str)


def test_every_page_that_is_not_public_says_who_may_come_in():
    assert {path for _, path, role in ALL if role is None} == PUBLIC
    assert {role for *_, role in ALL if role} <= set(LADDER)
    assert [each for each in ALL if each[2] == "taster"] == [("POST", "/taste", "taster")]
    assert len(ALL) > 10


def test_the_menu_leads_to_pages_its_reader_may_see():
    known = {path: role for method, path, role in ALL if method == "GET"}
    for path, _, role in MENU:
        assert LADDER.index(role) >= LADDER.index(known[path] or "taster")


def ask(client, method, path):
    data = {"key": "k" * 12} if method == "POST" else None
    return client.request(method, path, data=data)


@pytest.mark.parametrize("role", ["nobody", *LADDER])
def test_each_role_comes_in_where_it_may_and_nowhere_else(role, client, as_role):
    tablet = client if role == "nobody" else as_role(role)
    wrong = []
    for method, path, least in ALL:
        if least is None:
            continue
        answer = ask(tablet, method, path)
        assert HEADERS.items() <= dict(answer.headers).items()
        if role == "nobody":
            fine = answer.status_code == 401
        elif LADDER.index(role) < LADDER.index(least):
            fine = answer.status_code == 403
        else:
            fine = answer.status_code < 500 and answer.status_code not in (401, 403)
        if not fine:
            wrong.append((method, path, least, answer.status_code))
    assert wrong == []


def test_no_get_changes_the_record(as_role, bench_store):
    from tracker.fingerprints import audit_head

    tablet = as_role("owner")
    before = audit_head(bench_store)
    for method, path, _ in ALL:
        if method == "GET":
            tablet.get(path)
            tablet.head(path)
    assert audit_head(bench_store) == before


def test_pages_stay_small(as_role):
    tablet = as_role("owner")
    static = sum(len(tablet.get(f"/static/{name}").content) for name in ("bench.css", "bench.js", "drafts.js"))
    for method, path, _ in ALL:
        if method == "GET":
            assert len(tablet.get(path).content) + static < 150_000, path
