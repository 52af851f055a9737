"""Does each entry of twenty tablets stand exactly once when the network drops, doubles, delays and reorders?

The bench is really served; between it and each tablet stands a network drawn by a seed. With CRUMBWISE_LARGE=1 each
tablet sends 200 entries instead of 8.
"""

from __future__ import annotations

import os
import random
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from secrets import token_hex

import httpx2
import pytest
from sqlmodel import select

from tracker.bench.kit import PERSON, TABLET
from tracker.models import Reading, TasteNote
from tracker.workflow.accounts import list_accounts
from tracker.workflow.batches import list_batches
from tracker.workflow.signed_in import begin
from tracker.workflow.verifying import verify_record

TABLETS = 20
EACH = 200 if os.environ.get("CRUMBWISE_LARGE") == "1" else 8


class Lost(Exception):
    """The tablet hears nothing."""


class Network:
    """What happens to one tablet's posts; ``log`` counts it."""

    def __init__(self, client: httpx2.Client, chance: random.Random, log: Counter[str]) -> None:
        self.client, self.chance, self.log = client, chance, log
        self.late: list[tuple[str, dict[str, str]]] = []

    def post(self, path: str, form: dict[str, str]) -> dict[str, object]:
        fate = self.chance.choices(["fine", "request lost", "answer lost", "doubled", "late"], [4, 2, 2, 2, 2])[0]
        self.log[fate] += 1
        if fate == "request lost":
            raise Lost
        if fate == "late":  # overtaken by whatever is sent from now on
            self.late.append((path, form))
            raise Lost
        if fate == "doubled":
            with ThreadPoolExecutor(2) as both:
                answers = list(both.map(lambda _: self._send(path, form), range(2)))
            answer = self.chance.choice(answers)
        else:
            answer = self._send(path, form)
        if self.late and self.chance.random() < 0.3:
            self._send(*self.late.pop(self.chance.randrange(len(self.late))))
        if fate == "answer lost":
            raise Lost
        return answer

    def _send(self, path: str, form: dict[str, str]) -> dict[str, object]:
        answer = self.client.post(path, data=form)
        assert answer.status_code == 200, answer.text
        told: dict[str, object] = answer.json()
        return told

    def at_last(self) -> None:
        self.chance.shuffle(self.late)
        for path, form in self.late:
            self._send(path, form)


def entry_of(tablet, place):
    """Notes, batches and, once for each tablet, a reading."""
    if place == 0:
        run, rest = divmod(tablet, 3)  # 8 runs of 3 values that can stand
        what = [("rise height", "", "42"), ("crumb score", "1", "4"), ("crumb score", "2", "5")][rest]
        form = {"do": "reading", "place": "x", "response": what[0], "piece": what[1], "value": what[2]}
        return f"/run/soda/{101 + run}", form
    if place % 4 == 1:
        return "/batch", {"product": "scones", "number": f"{tablet}-{place}", "reading:rise height": "42"}
    return f"/run/soda/{101 + tablet % 8}", {"do": "note", "place": "note", "words": f"note {tablet} {place}"}


@pytest.fixture
def filled(bench_store):
    from datetime import UTC, datetime

    from tracker.workflow.batch_writing import BatchEntry
    from tracker.workflow.logging_batches import log_batches

    bench_store.now = lambda: datetime.now(UTC)
    first = BatchEntry(number="first", baked_at="2026-11-20T05:00:00Z", lots={}, readings={"rise height": (40.0,)})
    log_batches(bench_store, "scones", [first], units={"rise height": "mm"})


def test_each_entry_stands_exactly_once(served, bench_store):
    address = served.replace("kitchen.test", "127.0.0.1")
    person = next(line.person for line in list_accounts(bench_store) if line.role == "baker")
    cookies = {PERSON: begin(bench_store, "person", person), TABLET: begin(bench_store, "device", None)}
    headers = {"origin": address, "accept": "application/json"}
    log: Counter[str] = Counter()
    heard: Counter[str] = Counter()
    gate = threading.Barrier(TABLETS)

    def tablet(number):
        with httpx2.Client(base_url=address, headers=headers, cookies=cookies, timeout=60) as client:
            network = Network(client, random.Random(1000 + number), log)
            waiting = []
            for place in range(EACH):
                path, form = entry_of(number, place)
                waiting.append((path, form | {"key": token_hex(16), "by": str(person)}))
            gate.wait(60)
            while waiting:
                entry = waiting.pop(network.chance.randrange(min(3, len(waiting))))
                try:
                    told = network.post(*entry)
                except Lost:
                    waiting.append(entry)  # and now it has been overtaken
                else:
                    heard["again" if told["again"] else "first"] += 1
            network.at_last()

    with ThreadPoolExecutor(TABLETS) as pool:
        for done in [pool.submit(tablet, number) for number in range(TABLETS)]:
            done.result(600)

    entries = [entry_of(number, place) for number in range(TABLETS) for place in range(EACH)]
    with bench_store.read() as session:
        notes = Counter(row.words for row in session.exec(select(TasteNote)))
        readings = [row for row in session.exec(select(Reading)) if row.response_id is not None]
    batches = Counter(line.number for line in list_batches(bench_store, "scones"))
    assert notes == Counter(form["words"] for _, form in entries if "words" in form)
    assert len(readings) == TABLETS
    assert all(row.replaces_id is None for row in readings)
    assert batches == Counter(["first", *(form["number"] for path, form in entries if path == "/batch")])
    assert all(log[fate] > 0 for fate in ("request lost", "answer lost", "doubled", "late"))
    assert heard["again"] > 0  # some were recorded by a post that nobody heard of
    verify_record(bench_store)


def test_one_key_with_two_payloads_is_refused_whoever_comes_first(served, bench_store):
    address = served.replace("kitchen.test", "127.0.0.1")
    person = next(line.person for line in list_accounts(bench_store) if line.role == "baker")
    cookies = {PERSON: begin(bench_store, "person", person), TABLET: begin(bench_store, "device", None)}
    headers = {"origin": address, "accept": "application/json"}
    with httpx2.Client(base_url=address, headers=headers, cookies=cookies, timeout=60) as client:
        form = {"do": "note", "place": "note", "key": "k" * 16}
        with ThreadPoolExecutor(12) as pool:
            words = ["soapy", "sour"] * 6
            told = list(pool.map(lambda each: client.post("/run/soda/101", data=form | {"words": each}), words))
    assert sorted(answer.status_code for answer in told) == [200] * 6 + [422] * 6
    with bench_store.read() as session:
        assert len(session.exec(select(TasteNote)).all()) == 1
