"""What happens to requests that no browser of ours would send?

Forms whose bytes are broken, fields that are no text or too many, headers that never end, clients that stop in the
middle: each gets an answer below 500 or a closed connection, nothing is stored, and the next request is served.
"""

from __future__ import annotations

import importlib.util
import re
import shutil
import socket
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from fastapi.routing import APIRoute

from tracker.bench.guard import HEADERS
from tracker.bench.pages import PAGES
from tracker.fingerprints import audit_head
from tracker.store import open_kitchen
from tracker.workflow.verifying import verify_record


def _kitchen():
    spec = importlib.util.spec_from_file_location("full_kitchen", Path(__file__).with_name("full_kitchen.py"))
    sys.modules["full_kitchen"] = module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


FORM = "application/x-www-form-urlencoded"
FILLED = {"trial": "soda", "code": "108", "number": "1", "name": "1"}
POSTS = sorted(
    {
        re.sub(r"{(\w+)(?::\w+)?}", lambda found: FILLED[found[1]], route.path)
        for each in PAGES
        for route in each.router.routes
        if isinstance(route, APIRoute) and "POST" in route.methods
    }
)
NAMES = (
    "do key product number trial response value repeat piece place words tag name pin role person at reason plan run"
)
PART = '--b\r\nContent-Disposition: form-data; name="value"\r\n\r\n42\r\n'
KEY = "key=strange-0001"

# Body and content type; none of them can be read as a form of ours that changes anything.
BROKEN = {
    "empty": (b"", FORM),
    "only a sign": (b"=", FORM),
    "signs of fields": (b"&&&===&&=&", FORM),
    "half a percent sign": (b"do=%&value=%4&place=%zz", FORM),
    "a thousand fields": ("&".join(f"f{at}=1" for at in range(1000)).encode(), FORM),
    "the same field a thousand times": (b"do=reading&" * 1000, FORM),
    "a name of 100 KB": (b"a" * 100_000 + b"=1", FORM),
    "nested names": (b"a[b][c][d]=1&a.b.c=2&__proto__=3&constructor=4", FORM),
    "another charset": ("do=reading&value=42".encode("utf-16"), FORM + "; charset=utf-16"),
    "no such charset": (b"do=reading", FORM + "; charset=no-such"),
    "bytes that are no text": (b"do=\xff\xfe\x80&\xc3\x28=\xa0\xa1", FORM),
    "multipart without a boundary": (PART.encode(), "multipart/form-data"),
    "multipart with an empty boundary": (PART.encode(), "multipart/form-data; boundary="),
    "multipart with another boundary": (PART.encode(), "multipart/form-data; boundary=other"),
    "multipart that never ends": (PART.encode(), "multipart/form-data; boundary=b"),
    "multipart with a boundary of 10 KB": (b"--" + b"b" * 10_000, "multipart/form-data; boundary=" + "b" * 10_000),
    "multipart without a name": (
        b"--b\r\nContent-Disposition: form-data\r\n\r\n1\r\n--b--\r\n",
        "multipart/form-data; boundary=b",
    ),
    "multipart without headers": (b"--b\r\n\r\n1\r\n--b--\r\n", "multipart/form-data; boundary=b"),
    "multipart with a broken header": (b"--b\r\n: :\r\n\r\n1\r\n--b--\r\n", "multipart/form-data; boundary=b"),
    "multipart with a header of 100 KB": (
        b"--b\r\nContent-Disposition: form-data; name=" + b"x" * 100_000 + b"\r\n\r\n1\r\n--b--\r\n",
        "multipart/form-data; boundary=b",
    ),
    "a hundred files": (
        b'--b\r\nContent-Disposition: form-data; name="f"; filename="f"\r\n\r\nx\r\n' * 100 + b"--b--\r\n",
        "multipart/form-data; boundary=b",
    ),
    "a file where a text is asked": (
        b"".join(
            f'--b\r\nContent-Disposition: form-data; name="{name}"; filename="../../{name}"\r\n\r\n\x00\r\n'.encode()
            for name in ("do", "key", "value")
        )
        + b"--b--\r\n",
        "multipart/form-data; boundary=b",
    ),
    "json": (b'{"do": "reading"}', "application/json"),
    "xml": (b"<!DOCTYPE x [<!ENTITY a 'b'>]><x>&a;</x>", "application/xml"),
    "plain": (b"do=reading", "text/plain"),
    "no type": (b"do=reading", ""),
    "two types": (b"do=reading", f"{FORM}, text/plain"),
}
TEXTS = {
    "NUL": "4\x002",
    "half a character": "%ED%A0%80",
    "the other half": "%ED%B0%80%ED%A0%BD",
    "overlong": "%C0%AF%C1%9C",
    "marks on marks": "a" + "\u0301" * 3000,
    "other digits": "４２",
    "signs that are not seen": "\u200b4\ufeff2\u2060",
    "turned around": "\u202e42",
    "the end of the planes": "\U0010ffff\ufffe\uffff",
    "a number of ten thousand digits": "9" * 10_000,
    "a fraction of ten thousand digits": "0." + "3" * 10_000,
    "a number that is none": "nan",
    "an exponent": "1e999999999",
    "a large whole number": str(2**63),
    "less than nothing": "-" + "0" * 500 + "1",
    "a path": "../../../../etc/passwd",
    "a line of another header": "x\r\nset-cookie: a=b",
    "a formula": "=HYPERLINK(1)",
    "two marks": "4,2.1",
}


@pytest.fixture(scope="module")
def full_template(bench_template, tmp_path_factory):
    """The kitchen in which every page shows something, made once; each test gets a copy."""
    path = tmp_path_factory.mktemp("strange") / "full.db"
    shutil.copyfile(bench_template, path)
    with open_kitchen(str(path), now=lambda: datetime(2026, 11, 26, 5, 0, tzinfo=UTC)) as store:
        _kitchen().fill(store)
    return path


@pytest.fixture
def bench_store(full_template, tmp_path, clock):
    path = tmp_path / "bench.db"
    shutil.copyfile(full_template, path)
    path.chmod(0o600)
    with open_kitchen(str(path), now=clock) as store:
        yield store


@pytest.fixture
def owner(as_role):
    return as_role("owner")


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_form_changes_nothing(name, owner, bench_store):
    body, kind = BROKEN[name]
    before = audit_head(bench_store)
    for path in POSTS:
        if path == "/sign-out":
            continue  # takes no field: even a broken form means what it says
        answer = owner.post(path, content=body, headers={"content-type": kind} if kind else {})
        assert 200 <= answer.status_code < 500, (path, answer.text)
        assert HEADERS.items() <= dict(answer.headers).items()
    assert audit_head(bench_store) == before


@pytest.mark.parametrize("name", TEXTS)
def test_a_text_that_is_hard_to_keep_is_kept_or_refused(name, owner, bench_store):
    """In every field of every route at once, and in each of a reading alone."""
    value = TEXTS[name] if TEXTS[name].startswith("%") else None
    for path in POSTS:
        fields = NAMES.split()
        if value is None:
            answer = owner.post(path, data=dict.fromkeys(fields, TEXTS[name]))
        else:
            body = "&".join(f"{field}={value}" for field in fields)
            answer = owner.post(path, content=body, headers={"content-type": FORM})
        assert 200 <= answer.status_code < 500, (path, answer.text)
        if path == "/sign-out":
            assert answer.status_code == 303
            break
    verify_record(bench_store)


@pytest.mark.parametrize("field", ["do", "response", "value", "repeat", "piece", "place", "reason", "key"])
def test_a_reading_with_one_strange_field(field, owner, bench_store):
    for at, text in enumerate(TEXTS.values()):
        fields = {"do": "reading", "key": f"strange-{at:04}", "response": "rise height", "value": "42", "place": "r1"}
        sent = "&".join(
            f"{name}={text if name == field and text.startswith('%') else _escaped(text if name == field else value)}"
            for name, value in {**fields, field: text}.items()
        )
        answer = owner.post("/run/soda/106", content=sent, headers={"content-type": FORM})
        assert answer.status_code < 500, (field, text)
        assert "etc/passwd" not in answer.headers.get("location", "")
        assert "set-cookie" not in answer.headers
    verify_record(bench_store)


def _escaped(text: str) -> str:
    from urllib.parse import quote

    return quote(text, safe="", errors="surrogatepass")


def test_of_a_doubled_field_one_value_is_kept(owner, bench_store):
    body = "do=reading&do=note&key=double-0001&key=double-0002&response=rise+height&value=41&value=43&place=r1&repeat=1"
    answer = owner.post("/run/soda/106", content=body, headers={"content-type": FORM})
    assert answer.status_code < 500
    first = audit_head(bench_store)
    again = owner.post("/run/soda/106", content=body, headers={"content-type": FORM})
    assert again.status_code == answer.status_code
    assert audit_head(bench_store) == first


@pytest.mark.parametrize(
    "path",
    [
        "/run/soda/%00",
        "/run/%ff%fe/108",
        "/run/soda/" + "1" * 5000,
        "/%2e%2e/%2e%2e/etc/passwd",
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/%00",
        "/static/" + "a" * 5000,
        "/?saved=%00%0d%0aset-cookie:a",
        "/batch?product=%ED%A0%80",
        "/batch?" + "&".join(f"product={at}" for at in range(2000)),
        "/results?trial=cookies&set:sugar=" + "9" * 5000,
        "/results/download/..%2f..%2fkitchen.db?trial=cookies",
        "/photo/99999999999999999999999",
        "/tasting/99999999999999999999999",
        "/plan/paper/..%2f..%2fx?trial=cookies",
        "//evil.example/",
        "/sign-in?next=//evil.example",
    ],
)
def test_a_strange_address(path, owner, bench_store):
    before = audit_head(bench_store)
    answer = owner.get(path)
    assert answer.status_code < 500
    assert "set-cookie" not in answer.headers
    assert not answer.headers.get("location", "/").startswith("//")
    assert "import" not in answer.text.partition("from __future__")[2]
    assert audit_head(bench_store) == before


def talk(port: int, *pieces: bytes, wait: float = 3.0) -> bytes:
    """What the server says to bytes that are sent one after the other; b"" when it only closes."""
    with socket.create_connection(("127.0.0.1", port), timeout=wait) as line:
        try:
            for piece in pieces:
                line.sendall(piece)
                time.sleep(0.02)
            return line.recv(65536)
        except (TimeoutError, ConnectionError):
            return b""


def test_what_no_client_of_ours_says_is_refused_and_the_bench_goes_on(served):
    """On a real connection: the library between the wire and us has its own limits."""
    host, port = urlsplit(served).netloc.encode(), urlsplit(served).port
    head = b"GET /sign-in HTTP/1.1\r\nhost: " + host + b"\r\n"
    post = (
        b"POST /sign-in HTTP/1.1\r\nhost: "
        + host
        + b"\r\norigin: http://"
        + host
        + b"\r\ncontent-type: "
        + FORM.encode()
    )
    said = {
        "a header of 1 MB": talk(port, head + b"x: " + b"a" * 1_000_000 + b"\r\n\r\n"),
        "10,000 headers": talk(port, head + b"".join(b"x%d: 1\r\n" % at for at in range(10_000)) + b"\r\n"),
        "two lengths": talk(port, post + b"\r\ncontent-length: 1\r\ncontent-length: 2\r\n\r\nab"),
        "length and pieces": talk(port, post + b"\r\ncontent-length: 5\r\ntransfer-encoding: chunked\r\n\r\n0\r\n\r\n"),
        "a piece of no size": talk(port, post + b"\r\ntransfer-encoding: chunked\r\n\r\nzz\r\n\r\n"),
        "a length below nothing": talk(port, post + b"\r\ncontent-length: -5\r\n\r\n"),
        "no protocol": talk(port, b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" * 20),
        "an old protocol": talk(port, b"GET / HTTP/0.9\r\n\r\n"),
        "two hosts": talk(port, head + b"host: evil.example\r\n\r\n"),
        "a folded header": talk(port, head + b"x: a\r\n b\r\n\r\n"),
        "a web socket": talk(port, head + b"connection: upgrade\r\nupgrade: websocket\r\nsec-websocket-key: x\r\n\r\n"),
        "NUL in a header": talk(port, head + b"x: a\x00b\r\n\r\n"),
        "another address in the line": talk(port, b"GET http://evil.example/ HTTP/1.1\r\nhost: evil.example\r\n\r\n"),
        "a star": talk(port, b"OPTIONS * HTTP/1.1\r\nhost: " + host + b"\r\n\r\n"),
    }
    for name, answer in said.items():
        status = re.match(rb"HTTP/1\.1 (\d+)", answer)
        assert status is None or 200 <= int(status[1]) < 500, (name, answer[:200])
        assert b"Traceback" not in answer, name
    stopped = [socket.create_connection(("127.0.0.1", port)) for _ in range(40)]  # each stops in the middle
    for at, line in enumerate(stopped):
        line.sendall(head[: 10 + at] if at % 2 else post + b"\r\ncontent-length: 900\r\n\r\nname=")
    begun = time.monotonic()
    answer = talk(port, head + b"connection: close\r\n\r\n")
    assert answer.startswith((b"HTTP/1.1 200", b"HTTP/1.1 303"))
    assert time.monotonic() - begun < 3  # nobody waits for those who stopped
    for line in stopped:
        line.close()
    assert talk(port, head + b"connection: close\r\n\r\n").startswith((b"HTTP/1.1 200", b"HTTP/1.1 303"))
