"""Who can reach the bench, and what does starting it ask for?"""

from __future__ import annotations

import json
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

import pytest

from tracker.commands import main
from tracker.store import open_kitchen
from tracker.workflow.first_owner import make_first_owner


@pytest.fixture
def asked(sqlite_kitchen, capsys):
    """Run the command with ``--check --json``; its exit code and document."""

    def run(*words):
        code = main(["--kitchen", str(sqlite_kitchen), "bench", "--check", "--json", *words])
        return code, json.loads(capsys.readouterr().out)

    return run


def owned(path):
    with open_kitchen(str(path)) as store:
        make_first_owner(store, "Ada", "480213")


def test_only_this_machine_can_reach_it_unless_asked(asked):
    code, told = asked()
    assert code == 0
    assert told["address"] == "http://127.0.0.1:8030/"
    assert told["hosts"] == ["127.0.0.1:8030", "localhost:8030", "[::1]:8030"]
    assert (told["lan"], told["tls"], told["needs_owner"]) == (False, False, True)
    for host in ("0.0.0.0", "192.168.1.20", "::"):
        code, told = asked("--host", host)
        assert code == 2
        assert "Other machines could reach" in told["error"]["what"]


def test_others_are_let_in_only_once_somebody_owns_it(asked, sqlite_kitchen):
    code, told = asked("--lan", "--host", "192.168.1.20")
    assert code == 2
    assert "somebody has to own it" in told["error"]["what"]
    owned(sqlite_kitchen)
    code, told = asked("--lan", "--host", "0.0.0.0")
    assert code == 2
    assert "answers only to names" in told["error"]["what"]
    code, told = asked("--lan", "--host", "192.168.1.20", "--allow", "kitchen.example", "--port", "9000")
    assert code == 0
    assert told["address"] == "http://kitchen.example:9000/"
    assert {"192.168.1.20:9000", "kitchen.example:9000"} <= set(told["hosts"])
    assert told["needs_owner"] is False


@pytest.mark.parametrize("name", ["", "*", "http://kitchen.example", "a b", "x@y", "küche"])
def test_a_name_that_is_none_is_refused(asked, sqlite_kitchen, name):
    owned(sqlite_kitchen)
    code, _ = asked("--lan", "--host", "192.168.1.20", "--allow", name)
    assert code == 2


def test_a_certificate_needs_its_key(asked, tmp_path):
    assert asked("--tls-cert", str(tmp_path / "none.pem"))[0] == 2
    assert asked("--tls-cert", str(tmp_path / "none.pem"), "--tls-key", str(tmp_path / "none.key"))[0] == 2


def test_a_certificate_of_its_own_is_made_when_it_serves_and_not_before(asked, sqlite_kitchen, tmp_path):
    code, told = asked("--tls")
    assert (code, told["address"], told["tls"], told["root_sha256"]) == (0, "https://127.0.0.1:8030/", True, None)
    assert [path.name for path in sqlite_kitchen.parent.glob("*.keys")] == []
    for name in ("a.pem", "b.pem"):
        (tmp_path / name).write_text("")
    code, told = asked("--tls", "--tls-cert", str(tmp_path / "a.pem"), "--tls-key", str(tmp_path / "b.pem"))
    assert code == 2
    assert "brings one" in told["error"]["what"]


def test_the_code_of_the_first_owner_is_shown_in_the_terminal_only(asked, sqlite_kitchen, capsys):
    assert "code" not in asked()[1]
    assert main(["--kitchen", str(sqlite_kitchen), "bench", "--check"]) == 0
    assert "The first owner types this code: " in capsys.readouterr().out


def test_a_kitchen_that_is_not_there_is_made_when_it_is_served(tmp_path, capsys):
    path = tmp_path / "new.db"
    assert main(["--kitchen", str(path), "bench", "--check"]) == 0
    assert f"There is no kitchen yet; a new one is made: {path}" in capsys.readouterr().out
    assert not path.exists()
    assert main(["--kitchen", str(path), "bench", "--check", "--lan"]) == 2  # nobody owns it yet
    assert "somebody has to own it" in capsys.readouterr().err
    with started(path) as address, urllib.request.urlopen(address, timeout=5) as answer:
        assert b"Welcome to the bench" in answer.read()
    with open_kitchen(str(path)) as store:
        assert store.place.path == path


@pytest.mark.parametrize("module", ["tracker.commands.trial", "tracker.commands.batch", "tracker.commands.bench"])
def test_other_commands_do_not_load_the_server(module):
    names = "fastapi, starlette, uvicorn, pwdlib, argon2"
    code = f"import sys, {module}; print([n for n in '{names}'.split(', ') if n in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"


@contextmanager
def started(path):
    """The whole command over a kitchen: the address of its first page once it answers; a signal ends it."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [shutil.which("crumbwise", path=str(Path(sys.executable).parent)), "--kitchen", str(path)]
    running = subprocess.Popen([*command, "bench", "--port", str(port)], stderr=subprocess.PIPE)
    address = f"http://127.0.0.1:{port}/start"
    try:
        for _ in range(300):
            try:
                urllib.request.urlopen(address, timeout=5).close()
                break
            except OSError:
                time.sleep(0.1)
        else:
            pytest.fail("nobody answered")
        yield address
    finally:
        running.send_signal(signal.SIGINT)
        running.communicate(timeout=20)
    assert running.returncode in (0, 130, -signal.SIGINT)


def test_it_really_serves_and_stops(sqlite_kitchen):
    """A page over a socket, and no banner of the server."""
    with started(sqlite_kitchen) as address, urllib.request.urlopen(address, timeout=5) as answer:
        assert answer.status == 200
        assert answer.headers["server"] is None
        assert b"Welcome to the bench" in answer.read()
