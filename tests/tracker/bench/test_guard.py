"""Is a stranger's request refused whatever its headers, and does every answer carry ours?"""

from __future__ import annotations

import asyncio
import tracemalloc
from itertools import product
from typing import Any

import pytest
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.testclient import TestClient

from tracker.bench.guard import HEADERS, Guard
from tracker.bench.settings import BenchSettings, hosts_for

HOST = "127.0.0.1:8030"
HOSTILE = [
    "evil.example",
    "evil.example:8030",
    "127.0.0.1",
    "127.0.0.1:8031",
    "127.0.0.1:8030.evil.example",
    "evil.example#127.0.0.1:8030",
    "127.0.0.1:8030@evil.example",
    "localhost",
    "localhost:80",
    "localhost.:8030",
    "0.0.0.0:8030",
    "127.1:8030",
    "2130706433:8030",
    "[::1]",
    "[::ffff:127.0.0.1]:8030",
    "",
    " ",
    "127.0.0.1:8030 ",
    "127.0.0.1:8030,evil.example",
    "kitchen.local:8030",
    "*",
    "127.0.0.1:08030",
    "127.0.0.1:8030/",
    "LOCALHOST.EVIL:8030",
    "\\127.0.0.1:8030",
]
PATHS = ["/", "/sign-in", "/start", "/static/bench.css", "/nowhere", "/docs", "/openapi.json", "/redoc"]


@pytest.mark.parametrize("host", HOSTILE)
def test_an_unknown_host_is_refused_everywhere(client, host):
    for path in PATHS:
        answer = client.get(path, headers={"host": host})
        assert answer.status_code == 400
        assert HEADERS.items() <= dict(answer.headers).items()


@pytest.mark.parametrize("host", ["127.0.0.1:8030", "localhost:8030", "LOCALHOST:8030", "[::1]:8030"])
def test_our_own_names_are_let_in(client, host):
    assert client.get("/sign-in", headers={"host": host}).status_code == 200


def test_forwarded_headers_mean_nothing(client):
    for name in ("x-forwarded-host", "x-forwarded-for", "forwarded", "x-original-url", "x-rewrite-url"):
        assert client.get("/sign-in", headers={name: "evil.example"}).status_code == 200
        assert client.get("/sign-in", headers={"host": "evil.example", name: HOST}).status_code == 400


SITES = [None, "same-origin", "same-site", "cross-site", "none", "", "SAME-ORIGIN", "same-origin, cross-site"]
ORIGINS = [
    None,
    f"http://{HOST}",
    f"https://{HOST}",
    "http://127.0.0.1",
    "http://localhost:8030",
    "http://evil.example",
    "null",
    "",
    f"http://{HOST}.evil.example",
    f"http://{HOST}@evil.example",
    f"http://evil.example/http://{HOST}",
    f"http://{HOST}/",
    f"HTTP://{HOST}",
]
KINDS = ["application/x-www-form-urlencoded", "text/plain"]


def test_of_208_combinations_only_our_own_change_anything(app):
    """Fetch metadata decide where they are sent; else the origin; else nobody is believed."""
    let_in = []
    bare = TestClient(app, base_url=f"http://{HOST}", follow_redirects=False)
    with bare:
        for site, origin, kind in product(SITES, ORIGINS, KINDS):
            sent = {"sec-fetch-site": site, "origin": origin, "content-type": kind}
            headers = {name: value for name, value in sent.items() if value is not None}
            answer = bare.post("/sign-out", content=b"tablet=", headers=headers)
            assert HEADERS.items() <= dict(answer.headers).items()
            if answer.status_code == 303:
                let_in.append((site, origin, kind))
            else:
                assert answer.status_code in (403, 415)
    form = KINDS[0]
    by_metadata = [("same-origin", origin, form) for origin in ORIGINS]
    by_origin = [(None, f"http://{HOST}", form), (None, f"HTTP://{HOST}", form)]
    assert sorted(let_in, key=repr) == sorted(by_metadata + by_origin, key=repr)


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT", "PROPFIND"])
def test_other_methods_are_not_taken(client, method):
    answer = client.request(method, "/sign-in")
    assert answer.status_code == 405
    assert HEADERS.items() <= dict(answer.headers).items()


def test_a_body_that_is_too_large_is_cut(client, app):
    most = app.state.settings.body_bytes
    for content in (b"a" * (most + 1), iter([b"a" * 100_000] * 500)):  # with its length, and 50 MB in pieces without
        answer = client.post("/sign-in", content=content, headers={"content-type": "application/x-www-form-urlencoded"})
        assert answer.status_code == 413
        assert HEADERS.items() <= dict(answer.headers).items()


@pytest.mark.parametrize(("path", "said", "words"), [("/photo/soda/108", True, b"15 MB"), ("/sign-in", False, b"1 MB")])
def test_50_mb_end_in_a_sentence_and_are_never_held(app, path, said, words, run_apart):
    """With their length said beforehand, and without; dropped piece by piece as they come."""
    held: list[int] = []
    asked = {"content-type": KINDS[0], **({"content-length": "50000000"} if said else {})}

    async def send_and_look() -> list[dict[str, Any]]:
        sent, answers = 0, []

        async def receive() -> dict[str, Any]:
            nonlocal sent
            sent += 100_000
            held.append(tracemalloc.get_traced_memory()[0])
            return {"type": "http.request", "body": b"a" * 100_000, "more_body": sent < 50_000_000}

        async def send(message: dict[str, Any]) -> None:
            answers.append(message)

        headers = {**asked, "host": HOST, "origin": f"http://{HOST}", "accept": "text/html"}
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "method": "POST",
            "path": path,
            "raw_path": path.encode(),
            "query_string": b"",
            "scheme": "http",
            "http_version": "1.1",
            "server": ("127.0.0.1", 8030),
            "client": ("127.0.0.1", 50_000),
            "root_path": "",
            "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
        }
        await app(scope, receive, send)
        assert sent == 50_000_000
        return answers

    with TestClient(app):
        tracemalloc.start()
        try:
            begins, *_, ends = run_apart(send_and_look())
        finally:
            tracemalloc.stop()
    assert begins["status"] == 413
    assert b"larger than the bench takes here, which is " + words in ends["body"]
    assert max(held) - min(held) < 3_000_000


@pytest.mark.parametrize(
    ("tls", "port", "host", "status"),
    [
        (True, 443, "kitchen.example", 200),
        (True, 443, "kitchen.example:443", 200),
        (True, 443, "kitchen.example:80", 400),
        (True, 80, "kitchen.example", 400),
        (False, 80, "kitchen.example", 200),
        (False, 443, "kitchen.example", 400),
        (False, 8030, "kitchen.example", 400),
    ],
)
def test_a_browser_leaves_out_the_port_of_its_scheme(tls, port, host, status):
    settings = BenchSettings(hosts=hosts_for(port, ("kitchen.example",)), tls=tls)
    behind = TestClient(Guard(PlainTextResponse("in"), settings))
    assert behind.get("/", headers={"host": host}).status_code == status
    form = {"host": host, "origin": f"{settings.scheme}://{host}", "content-type": KINDS[0]}
    assert behind.post("/", headers=form).status_code == status


def test_a_body_that_drips_is_not_waited_for_for_ever(app, monkeypatch, run_apart):
    """One byte now and then, as long as anybody listens."""
    monkeypatch.setattr("tracker.bench.guard.ARRIVES_WITHIN", 0.2)
    sent: list[dict[str, Any]] = []

    async def drip() -> dict[str, Any]:
        await asyncio.sleep(0.01)
        return {"type": "http.request", "body": b"a", "more_body": True}

    async def send(message: Any) -> None:
        sent.append(message)

    headers = [(b"host", HOST.encode()), (b"origin", f"http://{HOST}".encode()), (b"content-type", KINDS[0].encode())]
    scope = {"type": "http", "method": "POST", "path": "/sign-in", "query_string": b"", "headers": headers, "app": app}
    run_apart(asyncio.wait_for(app(scope, drip, send), 5))
    assert sent[0]["status"] == 408
    assert b"took too long" in sent[1]["body"]


def test_a_script_is_told_in_its_own_way(client):
    headers = {"content-type": "application/x-www-form-urlencoded", "accept": "application/json"}
    answer = client.post("/sign-in", content=b"a" * 1_000_001, headers=headers)
    assert (answer.status_code, answer.json()["error"].count("1 MB")) == (413, 1)


@pytest.mark.parametrize("length", ["-1", "1e9", "١٠", "9" * 30, "1 2"])
def test_a_length_that_is_no_length_is_refused(client, length):
    headers = {"content-type": "application/x-www-form-urlencoded", "content-length": length.encode()}
    assert client.post("/sign-in", content=b"a", headers=headers).status_code in (400, 413)


def test_an_error_nobody_foresaw_says_a_number_and_no_more(caplog):
    async def broken(scope, receive, send):
        raise RuntimeError("secret of the kitchen")

    asked = TestClient(Guard(broken, BenchSettings(hosts=hosts_for(8030))), base_url=f"http://{HOST}")
    answer = asked.get("/")
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    number = answer.text.split("error ")[1].split()[0]
    assert number in caplog.text
    assert "secret of the kitchen" in caplog.text
    assert HEADERS.items() <= dict(answer.headers).items()


def test_headers_of_ours_win_over_an_applications():
    app = PlainTextResponse("fine", headers={"content-security-policy": "default-src *", "server": "x"})
    answer = TestClient(Guard(app, BenchSettings(hosts=hosts_for(8030))), base_url=f"http://{HOST}").get("/")
    assert answer.headers.get_list("content-security-policy") == [HEADERS["content-security-policy"]]


def test_no_page_describes_the_routes(client):
    for path in ("/docs", "/redoc", "/openapi.json", "/docs/oauth2-redirect"):
        assert client.get(path).status_code == 404


def test_whoever_goes_in_the_middle_of_a_form_is_no_error_of_ours(caplog, run_apart):
    """Nobody is there to be answered, and the log of the bench keeps what nobody foresaw."""
    sent: list[Any] = []

    async def leaves(scope, receive, send):
        await Request(scope, receive).body()

    async def receive():
        return {"type": "http.disconnect"}

    async def send(message):
        sent.append(message)

    headers = [(b"host", HOST.encode()), (b"origin", f"http://{HOST}".encode())]
    scope = {
        "type": "http",
        "method": "POST",
        "path": "/run/soda/108",
        "headers": [*headers, (b"content-type", b"application/x-www-form-urlencoded")],
    }
    run_apart(Guard(leaves, BenchSettings(hosts=hosts_for(8030)))(scope, receive, send))
    assert sent == []
    assert caplog.records == []
