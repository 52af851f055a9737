"""A bench over a small planned trial, and somebody of each role to stand at it."""

from __future__ import annotations

import importlib.util
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from secrets import token_hex

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from tracker.bench.app import make_app
from tracker.bench.kit import PERSON, TABLET
from tracker.bench.settings import BenchSettings, hosts_for
from tracker.store import Store, open_kitchen
from tracker.workflow.accounts import list_accounts, open_account
from tracker.workflow.people import add_person
from tracker.workflow.signed_in import begin


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


@pytest.fixture
def as_role(app: FastAPI, client: TestClient) -> Callable[[str], TestClient]:
    """``as_role("baker")``: a tablet at which the baker is signed in."""

    def signed_in(role: str) -> TestClient:
        made = TestClient(app, base_url=f"http://{HOST}", headers=OURS, follow_redirects=False)
        person = next(line.person for line in list_accounts(app.state.store) if line.role == role)
        for name, kind, who in ((PERSON, "person", person), (TABLET, "device", None)):  # test_signing walks the way
            made.cookies.set(name, begin(app.state.store, kind, who), domain="127.0.0.1", path="/")
        return made

    return signed_in


@pytest.fixture
def key() -> Callable[[], str]:
    return lambda: token_hex(8)
