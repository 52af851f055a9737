"""Does the first word reach the right group, fast and quietly?"""

from __future__ import annotations

import importlib
import os
import subprocess
import sys

import pytest

from tracker.commands import GROUPS, VERSION, main

HEAVY = {"typer", "sqlalchemy", "sqlmodel", "pandas", "numpy", "statsmodels", "scipy", "matplotlib", "rich"}


def modules_loaded_by(*words: str) -> set[str]:
    """Top names of what one command line imports."""
    code = (
        f"import sys; from tracker.commands import main; code = main({list(words)!r}); "
        "print('\\n'.join(sys.modules)); sys.exit(code)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert ran.returncode == (0 if words and words[-1].startswith("-") else 2), ran.stderr
    return {name.partition(".")[0] for name in ran.stdout.splitlines()}


@pytest.mark.parametrize("words", [(), ("--help",), ("-h",), ("--version",), ("tril",)])
def test_static_answers_load_nothing_heavy(words: tuple[str, ...]) -> None:
    loaded = modules_loaded_by(*words)
    assert "tracker" in loaded
    assert not loaded & HEAVY


@pytest.mark.parametrize("group", GROUPS)
def test_help_of_a_group_loads_no_statistics_and_no_database(group: str) -> None:
    loaded = modules_loaded_by(group, "--help")
    assert "typer" in loaded
    assert not loaded & (HEAVY - {"typer", "rich"})


@pytest.mark.parametrize("group", GROUPS)
def test_help_line_equals_the_modules(group: str) -> None:
    module, line = GROUPS[group]
    app = importlib.import_module(module).app
    assert app.info.help == line


def test_version_is_the_distributions() -> None:
    import tomllib
    from pathlib import Path

    project = tomllib.loads((Path(__file__).parents[3] / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["version"] == VERSION


def test_unknown_command_suggests_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tirals"]) == 2
    err = capsys.readouterr().err
    assert '"tirals"' in err
    assert "Where: command line" in err
    assert "\nTry: crumbwise trial --help" in err


def test_no_command_prints_the_help_on_stderr(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("Usage: crumbwise")


@pytest.mark.parametrize("words", [["--kitchen"], ["--kitchen="]])
def test_kitchen_without_a_place_is_refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == 2
    assert "Try: crumbwise --kitchen" in capsys.readouterr().err


def test_a_broken_pipe_is_quiet() -> None:
    read, write = os.pipe()
    os.close(read)
    ran = subprocess.run(
        [sys.executable, "-c", "import sys; from tracker.commands import main; sys.exit(main(['--help']))"],
        stdout=write,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    os.close(write)
    assert (ran.returncode, ran.stderr) == (0, "")


def test_closed_streams_do_no_harm() -> None:
    code = "import sys; from tracker.commands import main; sys.exit(main(['--help']))"
    ran = subprocess.run(["sh", "-c", f'"{sys.executable}" -c "{code}" <&- >&- 2>&-'], check=False)
    assert ran.returncode == 0
