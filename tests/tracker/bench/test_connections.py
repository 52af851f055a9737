"""Does the bench answer while hundreds of connections say nothing, and is nobody cut who asks for something?

Real sockets against a real server, over each of the protocols that are installed. The limits are those of the bench
with their seconds divided by twenty, but for the last test, which asks the command as it is.
"""

from __future__ import annotations

import asyncio
import importlib.util
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
import uvicorn

from tracker.bench.certificate_files import certificates_in
from tracker.bench.connections import Limits, hurry_handshakes, patient

KINDS = [name for name in ("h11", "httptools") if importlib.util.find_spec(name)]
SLOW = 20
QUICK = Limits(head_within=15 / SLOW, rest_within=60 / SLOW, taken_within=300 / SLOW)
GET = b"GET / HTTP/1.1\r\nhost: bench\r\n\r\n"
LARGE = b"x" * 8_000_000  # more than the kernel keeps for somebody who does not read


async def echo(scope, receive, send):
    """Answers with the size of the body; /early answers before it, /large with much, /slow after a while."""
    if scope["type"] != "http":
        return
    size, more = 0, scope["path"] != "/early"
    while more:
        message = await receive()
        size, more = size + len(message.get("body", b"")), message.get("more_body", False)
    if scope["path"] == "/slow":
        await asyncio.sleep(2 * QUICK.head_within)
    body = LARGE if scope["path"] == "/large" else str(size).encode()
    headers = [(b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": body})


@contextmanager
def serving(kind, limits=QUICK, **more):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    made = patient(kind, limits)
    config = uvicorn.Config(
        echo, port=port, http=made, ws="none", lifespan="off", log_level="critical", limit_concurrency=500, **more
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield port, made
    finally:
        server.should_exit = server.force_exit = True
        thread.join(10)


@pytest.fixture(params=KINDS)
def kind(request):
    return request.param


@pytest.fixture
def served(kind):
    with serving(kind) as (port, _):
        yield port


@pytest.fixture
def opened():
    with ExitStack() as open_ones:

        def opened_to(port, source="127.0.0.1"):
            return open_ones.enter_context(
                socket.create_connection(("127.0.0.1", port), timeout=10, source_address=(source, 0))
            )

        yield opened_to


def answer(connection):
    """Status and body of one answer; (0, "") when the connection was closed instead."""
    said = b""
    try:
        while b"\r\n\r\n" not in said:
            more = connection.recv(65536)
            if not more:
                return 0, ""
            said += more
        head, _, body = said.partition(b"\r\n\r\n")
        length = re.search(rb"content-length: (\d+)", head.lower())
        while length and len(body) < int(length[1]):
            body += connection.recv(65536)
    except ConnectionError:
        return 0, ""
    return int(head.split()[1]), body[:80].decode()


def is_closed(connection, within):
    connection.settimeout(within)
    try:
        return connection.recv(1) == b""
    except TimeoutError:
        return False
    except ConnectionError:
        return True


def test_six_hundred_silent_connections_keep_nobody_out(served, opened):
    silent = [opened(served) for _ in range(600)]
    began = time.monotonic()
    tablet = opened(served)
    tablet.sendall(GET)
    assert answer(tablet) == (200, "0")
    assert time.monotonic() - began < 1
    assert all(is_closed(each, 3) for each in silent)


def test_they_are_closed_by_themselves(served, opened):
    silent = opened(served)
    assert not is_closed(silent, QUICK.head_within * 0.6)
    assert is_closed(silent, QUICK.head_within)


@pytest.mark.parametrize("asked_before", [False, True])
def test_a_head_that_drips_is_closed(served, opened, asked_before):
    dripping = opened(served)
    if asked_before:
        dripping.sendall(GET)
        assert answer(dripping)[0] == 200
    began, closed = time.monotonic(), False
    for sign in b"GET / HTTP/1.1\r\nx: " + b"y" * 200:
        try:
            dripping.sendall(bytes([sign]))
        except ConnectionError:
            closed = True
        if closed or is_closed(dripping, 0.05):
            break
    assert time.monotonic() - began == pytest.approx(QUICK.head_within, abs=0.5)


def test_a_head_has_a_size_however_it_comes(served, opened):
    """431 is section 5 of RFC 6585; one protocol says 400 of its own where it comes in pieces."""
    whole = b"GET / HTTP/1.1\r\nhost: bench\r\nx: "
    for size, piece, said in [(60_000, 90_000, 200), (70_000, 90_000, 431), (10_000_000, 8192, 431)]:
        connection = opened(served)
        text = whole + b"y" * size + b"\r\n\r\n"
        try:
            for start in range(0, len(text), piece):
                connection.sendall(text[start : start + piece])
        except ConnectionError:
            assert said != 200
        status, _ = answer(connection)
        assert status in ((200,) if said == 200 else (431, 400, 0))


def test_a_tablet_between_two_requests_is_not_cut(served, opened):
    tablet = opened(served)
    for _ in range(3):
        tablet.sendall(GET)
        assert answer(tablet) == (200, "0")
        time.sleep(QUICK.head_within * 1.3)


def test_nor_in_the_middle_of_one_while_others_crowd_in(served, opened):
    tablet = opened(served)
    tablet.sendall(b"POST /slow HTTP/1.1\r\nhost: bench\r\ncontent-length: 10\r\n\r\n12345")
    crowd = [opened(served) for _ in range(520)]
    time.sleep(QUICK.head_within * 1.5)
    tablet.sendall(b"67890")
    assert answer(tablet) == (200, "10")
    assert len(crowd) == 520


def test_a_slow_body_arrives(served, opened):
    tablet = opened(served)
    tablet.sendall(b"POST / HTTP/1.1\r\nhost: bench\r\ncontent-length: 40\r\n\r\n")
    for _ in range(40):
        time.sleep(QUICK.head_within / 15)
        tablet.sendall(b"x")
    assert answer(tablet) == (200, "40")


def test_a_large_body_after_a_head_is_no_head(served, opened):
    tablet = opened(served)
    tablet.sendall(b"POST / HTTP/1.1\r\nhost: bench\r\ncontent-length: 5000000\r\n\r\n" + b"x" * 5_000_000)
    assert answer(tablet) == (200, "5000000")
    tablet.sendall(b"POST /early HTTP/1.1\r\nhost: bench\r\ncontent-length: 200000\r\n\r\n" + b"x" * 200_000 + GET)
    assert answer(tablet)[0] == 200


def test_what_drips_after_it_was_answered_is_closed(kind, opened):
    with serving(kind, replace(QUICK, rest_within=0.5)) as (port, _):
        dripping = opened(port)
        dripping.sendall(b"POST /early HTTP/1.1\r\nhost: bench\r\ncontent-length: 200000\r\n\r\n")
        assert answer(dripping)[0] == 200
        began, closed = time.monotonic(), False
        while not closed and time.monotonic() - began < 5:
            try:
                dripping.sendall(b"x")
            except ConnectionError:
                break
            closed = is_closed(dripping, 0.05)
        assert time.monotonic() - began < 2


def test_an_answer_that_nobody_takes_is_dropped(kind, opened):
    with serving(kind, replace(QUICK, taken_within=0.5)) as (port, made):
        for _ in range(3):
            opened(port).sendall(b"GET /large HTTP/1.1\r\nhost: bench\r\n\r\n")
        time.sleep(0.3)
        assert len(made.everybody) == 3
        time.sleep(1)
        assert not made.everybody


def test_an_address_has_its_share_and_the_others_theirs(kind, opened):
    few = replace(QUICK, held=12, of_one_address=8, head_within=10)
    with serving(kind, few) as (port, made):
        other = opened(port, "127.0.0.2")
        other.sendall(GET)
        assert answer(other)[0] == 200
        mine = []
        for _ in range(20):  # one after the other: a kernel may hand on in any order what waits together
            mine.append(opened(port))
            time.sleep(0.02)
        assert [is_closed(each, 0.01) for each in mine] == [True] * 12 + [False] * 8  # the longest silent went
        third = [opened(port, "127.0.0.3") for _ in range(6)]
        time.sleep(0.2)
        assert not any(is_closed(each, 0.01) for each in [*third, other])  # room was made where most were held
        assert len(made.everybody) == 12


def test_who_is_being_answered_leaves_no_place_and_is_left_alone(kind, opened):
    with serving(kind, replace(QUICK, of_one_address=3)) as (port, _):
        busy = [opened(port) for _ in range(3)]
        for each in busy:
            each.sendall(b"GET /slow HTTP/1.1\r\nhost: bench\r\n\r\n")
        time.sleep(0.2)
        assert is_closed(opened(port), 1)
        assert [answer(each)[0] for each in busy] == [200] * 3
        again = opened(port)
        again.sendall(GET)
        assert answer(again)[0] == 200


def test_a_wish_for_a_web_socket_is_answered_as_the_page(served, opened):
    tablet = opened(served)
    tablet.sendall(
        b"GET / HTTP/1.1\r\nhost: bench\r\nconnection: Upgrade\r\nupgrade: websocket\r\n"
        b"sec-websocket-version: 13\r\nsec-websocket-key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
    )
    assert answer(tablet) == (200, "0")
    assert not is_closed(tablet, 0.1)


def test_requests_that_come_together_are_all_answered(served, opened):
    tablet = opened(served)
    tablet.sendall(GET * 5 + GET[:10])
    said = b""
    while said.count(b"HTTP/1.1 200") < 5:
        more = tablet.recv(65536)
        assert more
        said += more
    tablet.sendall(GET[10:])
    while said.count(b"HTTP/1.1 200") < 6:
        more = tablet.recv(65536)
        assert more
        said += more


def test_where_few_files_may_be_open_fewer_connections_are_held():
    assert Limits.within(4096) == Limits()
    assert (Limits.within(256).held, Limits.within(256).of_one_address) == (136, 113)
    assert Limits.within(10).held == 20


def test_who_begins_no_handshake_is_closed_too(opened, tmp_path, run_apart):
    """Under https a connection has nothing to do with the protocol before its handshake is over."""
    made = certificates_in(tmp_path, ["127.0.0.1"], now=datetime.now(UTC))
    config = uvicorn.Config(echo, ssl_certfile=made.chain, ssl_keyfile=made.key)
    config.load()

    async def look():
        loop = asyncio.get_running_loop()
        hurry_handshakes(loop, 0.3)
        server = await loop.create_server(asyncio.Protocol, "127.0.0.1", 0, ssl=config.ssl)
        silent = opened(server.sockets[0].getsockname()[1])
        closed = await asyncio.to_thread(is_closed, silent, 3)
        server.close()
        return closed

    assert run_apart(look())


@pytest.mark.parametrize(
    ("allowed", "crowd", "held"), [("", 600, 480), ("ulimit -Sn 256;", 600, 480), ("ulimit -n 256;", 300, 136)]
)
def test_the_command_answers_too(tmp_path, opened, allowed, crowd, held):
    """The bench as a baker starts it, with its own limits, also where a program may open few files."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [shutil.which("crumbwise", path=str(Path(sys.executable).parent)), "--kitchen", str(tmp_path / "k.db")]
    under = ["sh", "-c", f'{allowed} exec "$@"', "sh", *command]
    started = subprocess.Popen([*under, "bench", "--port", str(port)], stderr=subprocess.PIPE)
    try:
        assert b"The bench" in started.stderr.readline()
        silent = [opened(port) for _ in range(crowd)]
        began = time.monotonic()
        tablet = opened(port)
        tablet.sendall(f"GET /start HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\n\r\n".encode())
        assert answer(tablet)[0] == 200
        assert time.monotonic() - began < 2
        assert sum(is_closed(each, 0.001) for each in silent) >= crowd - held
    finally:
        started.send_signal(signal.SIGINT)
        started.communicate(timeout=20)
