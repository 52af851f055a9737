"""How long do fifty tablets wait for their readings to be kept, beside the endpoint of a textbook?

Two servers in processes of their own, sent to in turns by a third process: ours with sessions, roles, keys, checks and
the audit chain, and ``bench_load/textbook.py`` without any of these. Both wait for the disk (``synchronous=FULL``) and
write an audit row with each reading. Collected only with CRUMBWISE_LARGE=1; run it with
``CRUMBWISE_LARGE=1 pytest -s tests/benchmarks/test_bench_speed.py``. Ratios of one run on one machine.
"""

from __future__ import annotations

import json
import os
import re
import socket
import sqlite3
import statistics
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlencode

import pytest
from sqlmodel import col, select

from tracker.bench.kit import PERSON, TABLET
from tracker.models import Batch, Reading, Response, Run, Trial, TrialState
from tracker.store import Store, open_kitchen
from tracker.workflow.accounts import open_account
from tracker.workflow.people import add_person
from tracker.workflow.signed_in import begin
from tracker.workflow.verifying import verify_record

__test__ = os.environ.get("CRUMBWISE_LARGE") == "1"  # minutes of two busy cores; not part of the checks

COMMAND = "import sys; from tracker.commands import main; sys.exit(main())"
LOAD = Path(__file__).with_name("bench_load")
TABLETS, ROUNDS, PIECES = 50, 5, 8
RESPONSES = ("rise height", "crumb score", "width")
PER_TABLET = PIECES * len(RESPONSES)
TIMES_FASTER = 8


def test_fifty_tablets_wait_at_most_an_eighth_of_the_textbook(tmp_path: Path) -> None:
    """Each acknowledged reading stands once, and the whole record verifies."""
    kitchen, plain = tmp_path / "kitchen.db", tmp_path / "plain.db"
    with open_kitchen(str(kitchen), create=True, zone="Europe/Oslo") as store:
        cookies = prepared(store)
    mine: list[dict] = []
    theirs: list[dict] = []
    with serving(ours(kitchen)) as our_port, serving(textbook(plain)) as their_port:
        for turn in range(ROUNDS):
            mine.append(send(our_port, our_requests(our_port, turn, cookies)))
            theirs.append(send(their_port, their_requests(their_port, turn)))
    say("ours", mine)
    say("textbook", theirs)
    # Both servers of a round meet the machine in nearly the same mood; the median round says what holds.
    ratios = [slowest([they]) / slowest([we]) for they, we in zip(theirs, mine, strict=True)]
    ratio = statistics.median(ratios)
    print(
        f"the slowest of a hundred posts: {ratio:.1f} times faster than the textbook's (median of {len(ratios)} rounds:"
        f" {', '.join(f'{each:.1f}' for each in ratios)})"
    )
    posts = TABLETS * PER_TABLET * ROUNDS
    assert sum((Counter(each["statuses"]) for each in mine), Counter()) == {"200": posts}, mine[0]["odd"]
    assert sum((Counter(each["statuses"]) for each in theirs), Counter()) == {"200": posts}, theirs[0]["odd"]
    stands_once(kitchen, posts)
    with closing(sqlite3.connect(plain)) as connection:
        assert connection.execute("SELECT count(*) FROM textbookreading").fetchone() == (posts,)
        assert connection.execute("SELECT count(*) FROM textbookaudit").fetchone() == (posts,)
    assert ratio >= TIMES_FASTER


def prepared(store: Store) -> list[str]:
    """A trial for each round with a run for each tablet, and the cookies of a baker at each tablet."""
    baker = add_person(store, "Bo").number
    open_account(store, baker, "owner", "930571", by=1)
    with store.write(person=1, action="plan") as deed:
        for turn in range(ROUNDS):
            trial = deed.add(Trial(name=name_of(turn), title="Load", seed=7, made_at=deed.at))
            number = trial.id or 0
            deed.add(TrialState(trial_id=number, state="planned", at=deed.at, person_id=1))
            deed.add_many(
                Response(trial_id=number, position=place, name=name, unit="mm", pieces=PIECES)
                for place, name in enumerate(RESPONSES, start=1)
            )
            deed.add_many(
                Run(trial_id=number, place_in_design=run, bake_order=run, code=str(100 + run), settings="{}")
                for run in range(1, TABLETS + 1)
            )
    tokens = [(begin(store, "person", baker), begin(store, "device", None)) for _ in range(TABLETS)]
    return [f"{PERSON}={person}; {TABLET}={tablet}" for person, tablet in tokens]


def name_of(turn: int) -> str:
    return f"load{turn}"


def value_of(tablet: int, place: int) -> str:
    return f"{40 + tablet % 10}.{place:02}"


def our_requests(port: int, turn: int, cookies: list[str]) -> list[list[str]]:
    """As the tablet's own script sends them."""
    found = []
    for tablet, cookie in enumerate(cookies, start=1):
        sent = []
        for place in range(PER_TABLET):
            fields = {
                "do": "reading",
                "key": f"key-{turn}-{tablet}-{place:08}",
                "response": RESPONSES[place // PIECES],
                "piece": place % PIECES + 1,
                "repeat": 1,
                "place": f"r{place // PIECES + 1}-{place % PIECES + 1}-1",
                "value": value_of(tablet, place),
            }
            more = f"origin: http://127.0.0.1:{port}\r\naccept: application/json\r\ncookie: {cookie}\r\n"
            sent.append(post(port, f"/run/{name_of(turn)}/{100 + tablet}", fields, more))
        found.append(sent)
    return found


def their_requests(port: int, turn: int) -> list[list[str]]:
    return [
        [
            post(
                port,
                f"/run/{turn}-{tablet}",
                {
                    "response": RESPONSES[place // PIECES],
                    "piece": place % PIECES + 1,
                    "value": value_of(tablet, place),
                },
            )
            for place in range(PER_TABLET)
        ]
        for tablet in range(1, TABLETS + 1)
    ]


def post(port: int, path: str, fields: dict, more: str = "") -> str:
    body = urlencode(fields)
    return (
        f"POST {path} HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\ncontent-type: application/x-www-form-urlencoded\r\n"
        f"{more}content-length: {len(body)}\r\n\r\n{body}"
    )


def send(port: int, clients: list[list[str]]) -> dict:
    told = json.dumps({"port": port, "clients": clients})
    done = subprocess.run(
        [sys.executable, str(LOAD / "clients.py")], input=told, capture_output=True, text=True, check=True
    )
    answer: dict = json.loads(done.stdout)
    return answer


def slowest(rounds: list[dict], share: float = 0.99) -> float:
    """The 99th percentile over all rounds, in seconds."""
    seconds = sorted(second for each in rounds for second in each["seconds"])
    return seconds[int(share * len(seconds))]


def say(who: str, rounds: list[dict]) -> None:
    rate = sum(len(each["seconds"]) for each in rounds) / sum(each["taken"] for each in rounds)
    p50, p99 = slowest(rounds, 0.5), slowest(rounds)
    print(f"\n{who}: half within {1e3 * p50:.1f} ms, 99 of 100 within {1e3 * p99:.1f} ms, {rate:.0f} a second", end="")
    print("; rounds " + ", ".join(f"{1e3 * slowest([each]):.0f} ms" for each in rounds))


def stands_once(kitchen: Path, posts: int) -> None:
    with open_kitchen(str(kitchen)) as store:
        with store.read() as session:
            rows = list(session.exec(select(Reading)))
        assert verify_record(store).entries > posts
    assert len(rows) == posts
    assert len({(row.bake_id, row.response_id, row.piece_id, row.repeat) for row in rows}) == posts
    sent = Counter(float(value_of(tablet, place)) for tablet in range(1, TABLETS + 1) for place in range(PER_TABLET))
    assert Counter(row.value for row in rows) == Counter({value: ROUNDS * times for value, times in sent.items()})


def ours(kitchen: Path) -> list[str]:
    return ["-c", COMMAND, "bench", "--kitchen", str(kitchen), "--port", "{port}"]


def textbook(path: Path) -> list[str]:
    return [str(LOAD / "textbook.py"), "{port}", str(path)]


@contextmanager
def serving(words: list[str]) -> Iterator[int]:
    """A server in a process of its own, stopped afterwards; its port."""
    port = free_port()
    told = [str(port) if word == "{port}" else word for word in words]
    process = subprocess.Popen([sys.executable, *told], stdout=subprocess.DEVNULL)
    try:
        wait_for(port, process)
        yield port
    finally:
        process.terminate()
        process.wait(timeout=30)


def free_port() -> int:
    with closing(socket.socket()) as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


def wait_for(port: int, process: subprocess.Popen) -> None:
    until = time.monotonic() + 60
    while time.monotonic() < until:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return
        except OSError:
            assert process.poll() is None, "the server ended"
            time.sleep(0.05)
    pytest.fail("the server did not start")


PAGES = (
    *("/", "/plan", "/run", "/run/soda and acid/{run}", "/batch", "/batch?product=pass scones"),
    *(
        "/batch/one?product=pass scones&number={batch}",
        "/formula",
        "/results",
        "/results?trial=soda and acid",
        "/people",
    ),
)
MOST_BYTES, MOST_TIMES = 150_000, 2.0


def test_pages_are_small_and_take_at_most_twice_their_bare_template(tmp_path: Path, monkeypatch) -> None:
    """The second view of each page of the demo's kitchen, beside its template rendered from the values it was given.

    Both are sent by a server over a real connection. What is computed once after an entry (an analysis, the chart of a
    batch) and who stands at the tablet are found in memory then; the first view, in which neither is, is printed.
    """
    from urllib.parse import quote

    from tracker.workflow.demo import build_demo
    from tracker.workflow.trials import show_trial

    build_demo(tmp_path / "demo")
    with open_kitchen(str(tmp_path / "demo" / "kitchen.db")) as store:
        owner = add_person(store, "Dora").number
        open_account(store, owner, "owner", "930571", by=1)
        cookie = f"{PERSON}={begin(store, 'person', owner)}"
        run = show_trial(store, "soda and acid").to_json()["runs"][0]["code"]
        with store.read() as session:
            batch = session.exec(select(Batch.number).order_by(col(Batch.id).desc())).first()
        wide = []
        with both(store, monkeypatch) as (port, bare_port, values):
            for page in PAGES:
                path = quote(page.format(run=run, batch=batch), safe="/?=&")
                size, ours, bare, first = timed_page(path, cookie, port, bare_port, values)
                print(
                    f"{page}: {size / 1e3:.0f} KB with its assets, first {1e3 * first:.0f} ms,"
                    f" then {1e3 * ours:.2f} ms, the bare template {1e3 * bare:.2f} ms: {ours / bare:.1f} times"
                )
                assert size < MOST_BYTES, page
                wide += [(page, round(ours / bare, 2))] if ours > MOST_TIMES * bare else []
    assert wide == []


@contextmanager
def both(store: Store, monkeypatch) -> Iterator[tuple[int, int, dict]]:
    """Our bench, and an application that renders what ours rendered last; both served here, by threads."""
    import jinja2
    from fastapi import FastAPI
    from starlette.responses import HTMLResponse

    from tracker.bench.app import make_app
    from tracker.bench.guard import Guard
    from tracker.bench.settings import BenchSettings, hosts_for

    last: dict = {}
    render = jinja2.Template.render

    def heard(self, *values, **more):
        last["bare"] = lambda: render(self, *values, **more)
        return render(self, *values, **more)

    monkeypatch.setattr(jinja2.Template, "render", heard)
    ports = free_port(), free_port()
    plain = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    plain.add_api_route("/{path:path}", lambda: HTMLResponse(last["bare"]()), methods=["GET"])
    plain.add_middleware(Guard, settings=BenchSettings(hosts=hosts_for(ports[1])))
    with (
        threaded(make_app(store, BenchSettings(hosts=hosts_for(ports[0]))), ports[0]),
        threaded(plain, ports[1]),
    ):
        yield (*ports, last)


@contextmanager
def threaded(app, port: int) -> Iterator[None]:
    import uvicorn

    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", access_log=False))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield
    server.should_exit = True
    thread.join(10)


def timed_page(path: str, cookie: str, port: int, bare_port: int, values: dict) -> tuple[int, float, float, float]:
    """Bytes with the assets it names, median seconds of ours and of the bare template, seconds of the first view."""
    seconds: dict[int, list[float]] = {port: [], bare_port: []}
    lines = {each: HTTPConnection("127.0.0.1", each) for each in seconds}

    def ask(each: int, wanted: str) -> bytes:
        lines[each].request("GET", wanted, headers={"cookie": cookie})
        answer = lines[each].getresponse()
        body = answer.read()
        assert answer.status == 200, (wanted, answer.status)
        return body

    begun = time.perf_counter()
    body = ask(port, path)
    first = time.perf_counter() - begun
    for _ in range(60):
        for each, taken in seconds.items():
            begun = time.perf_counter()
            ask(each, path)
            taken.append(time.perf_counter() - begun)
    assets = set(re.findall(rb'(?:src|href)="(/static/[^"]+)"', body))
    size = len(body) + sum(len(ask(port, asset.decode())) for asset in assets)
    for line in lines.values():
        line.close()
    return size, statistics.median(seconds[port]), statistics.median(seconds[bare_port]), first
