"""How long do fifty tablets wait for their readings to be kept, beside the endpoint of a textbook?

Two servers in processes of their own, sent to in turns by a third process: ours with sessions, roles, keys, checks and
the audit chain, and ``bench_load/textbook.py`` without any of these. Both wait for the disk (``synchronous=FULL``) and
write an audit row with each reading. Collected only with CRUMBWISE_LARGE=1; run it with
``CRUMBWISE_LARGE=1 pytest -s tests/benchmarks/test_bench_speed.py``. Ratios of one run on one machine.
"""

from __future__ import annotations

import json
import os
import socket
import sqlite3
import statistics
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import urlencode

import pytest

from tracker.bench.kit import PERSON, TABLET
from tracker.models import Reading, Response, Run, Trial, TrialState
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
            from sqlmodel import select

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
