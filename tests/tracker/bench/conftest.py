"""A bench over a small planned trial, and somebody of each role to stand at it."""

from __future__ import annotations

import asyncio
import importlib.util
import shutil
import socket
import threading
import time
from collections.abc import Callable, Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from secrets import token_hex
from typing import TYPE_CHECKING, Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from tracker.bench.app import make_app
from tracker.bench.kit import PERSON, TABLET
from tracker.bench.settings import BenchSettings, hosts_for
from tracker.store import Store, open_kitchen
from tracker.workflow.accounts import list_accounts, open_account
from tracker.workflow.people import add_person
from tracker.workflow.recording import record_run
from tracker.workflow.signed_in import begin
from tracker.workflow.tasting_passes import begin_tasting, make_cards
from tracker.workflow.tasting_setup import WhoTastes, set_up_tasting

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page


def _plan_soda() -> Callable[[Store], None]:
    """The trial of the tests one folder up (tests are no package)."""
    spec = importlib.util.spec_from_file_location("soda", Path(__file__).parents[1] / "conftest.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    made: Callable[[Store], None] = module.plan_soda
    return made


plan_soda = _plan_soda()
PINS = {"assessor": "7294", "baker": "8305", "analyst": "615042", "owner": "930571"}
NAMES = {"assessor": "Asta", "baker": "Bo", "analyst": "Cleo", "owner": "Dora"}
HOST = "127.0.0.1:8030"
OURS = {"origin": f"http://{HOST}"}


class Clock:
    """A clock that moves when told."""

    def __init__(self) -> None:
        self.moment = datetime(2026, 11, 26, 5, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.moment

    def move(self, **by: float) -> None:
        self.moment += timedelta(**by)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="session")
def bench_template(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The trial "soda" with a person of each role; made once, since PINs are hashed slowly."""
    path = tmp_path_factory.mktemp("bench") / "kitchen.db"
    shutil.copyfile(sqlite_template, path)
    with open_kitchen(str(path), now=Clock()) as store:
        plan_soda(store)
        for role, name in NAMES.items():
            number = add_person(store, name).number
            open_account(store, number, role, PINS[role], by=1)
    return path


@pytest.fixture
def bench_store(bench_template: Path, tmp_path: Path, clock: Clock) -> Iterator[Store]:
    path = tmp_path / "bench.db"
    shutil.copyfile(bench_template, path)
    path.chmod(0o600)
    with open_kitchen(str(path), now=clock) as store:
        yield store


@pytest.fixture
def app(bench_store: Store) -> FastAPI:
    return make_app(bench_store, BenchSettings(hosts=hosts_for(8030)))


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    """Nobody is signed in; redirects are looked at, not followed."""
    with TestClient(app, base_url=f"http://{HOST}", headers=OURS, follow_redirects=False) as made:
        yield made


def taste_soda(store: Store, *, assessors: int = 1, runs: tuple[str, ...] = ("108", "107", "106")) -> list[str]:
    """A tasting of three bakes of "soda" by nameless assessors; their codes."""
    for run in runs:
        record_run(store, "soda", run)
    who = WhoTastes(nameless=assessors)
    made = set_up_tasting(store, "soda", runs=runs, responses=[2, 3], who=who, allergens="milk", by=1, rest_s=0, seed=5)
    return [card.code for card in make_cards(store, made.number, by=1)]


@pytest.fixture
def as_role(app: FastAPI, client: TestClient) -> Callable[[str], TestClient]:
    """``as_role("baker")``: a tablet at which the baker is signed in; ``as_role("taster")``: somebody with a code."""

    def signed_in(role: str) -> TestClient:
        made = TestClient(app, base_url=f"http://{HOST}", headers=OURS, follow_redirects=False)
        if role == "taster":
            secret = begin_tasting(app.state.store, taste_soda(app.state.store)[0])
            made.cookies.set(PERSON, secret or "", domain="127.0.0.1", path="/")
            return made
        person = next(line.person for line in list_accounts(app.state.store) if line.role == role)
        for name, kind, who in ((PERSON, "person", person), (TABLET, "device", None)):  # test_signing walks the way
            made.cookies.set(name, begin(app.state.store, kind, who), domain="127.0.0.1", path="/")
        return made

    return signed_in


@pytest.fixture(scope="session")
def run_apart() -> Callable[[Coroutine[Any, Any, Any]], Any]:
    """Run a coroutine in a thread of its own: in this one the browser of other tests keeps a loop running."""

    def run(coroutine: Coroutine[Any, Any, Any]) -> Any:
        with ThreadPoolExecutor(1) as apart:
            return apart.submit(asyncio.run, coroutine).result()

    return run


@pytest.fixture
def key() -> Callable[[], str]:
    return lambda: token_hex(8)


# Really served, for a real browser. The name leads to this machine but is no secure context: no service worker and no
# fetch metadata, as on a tablet that asks for the address of a computer next door.
NAME = "kitchen.test"
SIZES = {"phone": (390, 844), "tablet": (768, 1024), "larger tablet": (810, 1080), "screen": (1280, 800)}
# Over plain http this header is not heeded, which the browser says.
EXPECTED = "Cross-Origin-Opener-Policy"


@contextmanager
def serving(store: Store) -> Iterator[str]:
    """The address at which the bench of this store is served while the block runs."""
    import uvicorn

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    app = make_app(store, BenchSettings(hosts=hosts_for(port, (NAME,))))
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", access_log=False))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://{NAME}:{port}"
    server.should_exit = True
    thread.join(10)


@pytest.fixture
def filled(bench_store: Store) -> None:
    """What else is in the kitchen before it is served by the real clock; a test file with more overrides this."""
    bench_store.now = lambda: datetime.now(UTC)


@pytest.fixture
def served(bench_store: Store, filled: None) -> Iterator[str]:
    """The address of a bench that is really served."""
    with serving(bench_store) as address:
        yield address


@pytest.fixture
def tablet(browser: Browser, served: str, bench_store: Store) -> Iterator[Callable[..., Page]]:
    """``tablet(size, role, **context)``: a page at which the person of that role is signed in (the owner, Dora).

    Its cookies are set; test_browser and test_nothing_lost walk the way by the page.
    ``page.said`` collects what the browser's console said, refusals of the page's policy too.
    """
    with ExitStack() as contexts:

        def opened(size: str = "larger tablet", role: str = "owner", **more: Any) -> Page:
            width, height = SIZES[size]
            context = browser.new_context(viewport={"width": width, "height": height}, base_url=served, **more)
            contexts.callback(context.close)
            page = context.new_page()
            said: list[str] = []
            page.said = said  # type: ignore[attr-defined]
            page.on("console", lambda message: None if EXPECTED in message.text else said.append(message.text))
            page.on("pageerror", lambda error: said.append(str(error)))
            person = next(line.person for line in list_accounts(bench_store) if line.role == role)
            for name, kind in ((PERSON, "person"), (TABLET, "device")):
                secret = begin(bench_store, kind, person)
                context.add_cookies(
                    [{"name": name, "value": secret, "url": served, "httpOnly": True, "sameSite": "Strict"}]
                )
            page.goto("/" if role != "assessor" else "/taste")
            said.clear()
            return page

        yield opened
