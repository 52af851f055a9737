"""Does the start script prepare once, say what is in the way, and hand over to the command?"""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[2]
SCRIPT = ROOT / ".ci" / "start.py"


@pytest.fixture
def start(tmp_path: Path) -> ModuleType:
    """The script as if it stood in an empty project."""
    (tmp_path / ".ci").mkdir()
    (tmp_path / "requirements.lock").write_text("one\n")
    (tmp_path / "pyproject.toml").write_text("[project]\n")
    copy = tmp_path / ".ci" / "start.py"
    copy.write_text(SCRIPT.read_text(encoding="utf-8"), encoding="utf-8")
    spec = importlib.util.spec_from_file_location("start", copy)
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def calls(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, ...]]:
    """An environment that is made and filled at once: only what was asked of pip is kept."""
    asked: list[tuple[str, ...]] = []

    def make_venv() -> None:
        os.makedirs(start.BIN)
        for name in ("python", "crumbwise"):
            Path(start.BIN, name + (".exe" if start.WINDOWS else "")).write_text("")

    def run(*words: str, quiet: bool = False) -> int:
        asked.append(words)
        return 0

    monkeypatch.setattr(start, "make_venv", make_venv)
    monkeypatch.setattr(start, "run", run)
    monkeypatch.setattr(start, "become", lambda words: 0)
    return asked


def test_an_old_python_reads_one_sentence(start, monkeypatch, capsys):
    monkeypatch.setattr(sys, "version_info", (3, 10, 4))
    assert start.main(["pytest"]) == 1
    said = capsys.readouterr().err
    assert "Python 3.10; Crumbwise needs Python 3.11" in said
    assert "\nTry: " in said


def test_the_script_can_be_read_by_an_old_python():
    """The grammar of 3.7 is the oldest that ast can ask for."""
    import ast

    assert ast.parse(SCRIPT.read_text(encoding="utf-8"), feature_version=(3, 7))
    assert "from __future__" not in SCRIPT.read_text(encoding="utf-8")


def test_parts_are_installed_by_hash_and_the_project_without_network(start, calls):
    assert start.main(["crumbwise"]) == 0
    locked, project = (" ".join(words) for words in calls)
    assert f"--require-hashes -r {start.LOCK}" in locked
    assert f"--no-deps --no-build-isolation --editable {start.ROOT}" in project


def test_the_second_start_installs_nothing(start, calls):
    start.main(["crumbwise"])
    calls.clear()
    assert start.main(["crumbwise"]) == 0
    assert calls == []


@pytest.mark.parametrize("changed", ["requirements.lock", "pyproject.toml"])
def test_a_changed_lock_or_project_installs_again(start, calls, changed):
    start.main(["crumbwise"])
    calls.clear()
    Path(start.ROOT, changed).write_text("two\n")
    start.main(["crumbwise"])
    assert [words for words in calls if "--require-hashes" in words]


def test_a_broken_install_is_not_taken_for_a_finished_one(start, calls, monkeypatch, capsys):
    monkeypatch.setattr(start, "run", lambda *words, quiet=False: 1 if "--require-hashes" in words else 0)
    assert start.main(["crumbwise"]) == 1
    assert "\nTry: check the network" in capsys.readouterr().err
    assert start.stamp() is None


def test_python_without_venv_names_the_package(start, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "ensurepip", None)
    assert start.main(["crumbwise"]) == 1
    assert "python3-venv" in capsys.readouterr().err


def test_no_command_and_unknown_commands_are_answered(start, monkeypatch, capsys):
    assert start.main([]) == 1
    assert "No command was named" in capsys.readouterr().err
    os.makedirs(start.BIN)
    with pytest.raises(start.StartError) as told:
        start.become(["crumbwize"])
    assert "crumbwize" in told.value.what


@pytest.mark.skipif(os.name == "nt", reason="links need a right that Windows does not give everyone")
def test_the_command_gets_its_words_and_gives_its_exit_code(start):
    os.makedirs(start.BIN)
    os.symlink(sys.executable, start.PYTHON)
    Path(start.STAMP).write_text(start.wanted_stamp() + "\n")
    program = "import os, sys; print(sys.argv[1:], os.environ['VIRTUAL_ENV']); sys.exit(7)"
    ended = subprocess.run(
        [sys.executable, os.path.join(start.ROOT, ".ci", "start.py"), "python", "-c", program, "a b", "--json"],
        capture_output=True,
        text=True,
    )
    assert ended.returncode == 7
    assert ended.stdout.strip() == f"['a b', '--json'] {start.VENV}"
    assert ended.stderr == ""
