"""Does a command end as documented: codes, words, no trace?"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import typer

from tracker.commands import shell
from tracker.commands.shell import ask, kitchen_place, make_app, print_json, progress, run
from tracker.errors import IntegrityError


def app_that(deed: Callable[[], None]) -> typer.Typer:
    app = make_app("A group.")
    app.command("do")(deed)
    return app


def fail() -> None:
    secret = "gluten"  # a local variable that must stay out of the log
    raise RuntimeError(f"it has {len(secret)} letters")


def test_the_unforeseen_is_one_sentence_and_a_log(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert run(lambda: app_that(fail), [], name="crumbwise x") == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert "Traceback" not in err
    assert err.count("\n") == 3
    (log,) = (tmp_path / "crumbwise").iterdir()
    assert str(log) in err
    text = log.read_text()
    assert "RuntimeError: it has 6 letters" in text
    assert "secret = 'gluten'" not in text
    assert log.stat().st_mode & 0o077 == 0


def test_our_errors_keep_their_code(capsys: pytest.CaptureFixture[str]) -> None:
    def deed() -> None:
        raise IntegrityError("The chain is broken.", where="entry 7", try_this="crumbwise records verify")

    assert run(lambda: app_that(deed), [], name="crumbwise x") == 6
    assert capsys.readouterr().err == "The chain is broken.\n  Where: entry 7\nTry: crumbwise records verify\n"


def test_the_analysis_errors_keep_theirs(capsys: pytest.CaptureFixture[str]) -> None:
    from analysis.errors import NotPossible

    def deed() -> None:
        raise NotPossible("Two bakes cannot show that.", where="trial", try_this="Bake more.")

    assert run(lambda: app_that(deed), [], name="crumbwise x") == 7
    assert capsys.readouterr().err.endswith("Try: Bake more.\n")


def test_an_interrupt_ends_with_130(capsys: pytest.CaptureFixture[str]) -> None:
    def deed() -> None:
        raise KeyboardInterrupt

    assert run(lambda: app_that(deed), [], name="crumbwise x") == 130
    assert "Traceback" not in capsys.readouterr().err


def test_ctrl_c_ends_a_waiting_dialogue(soda_path: Path) -> None:
    code = "import sys; from tracker.commands import main; sys.exit(main(sys.argv[1:]))"
    waiting = subprocess.Popen(
        [sys.executable, "-c", code, "--kitchen", str(soda_path), "trial", "record", "soda"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert waiting.stderr is not None
    asked = ""
    while "rise height" not in asked:
        asked += waiting.stderr.read(1)
    begun = time.monotonic()
    waiting.send_signal(signal.SIGINT)
    _, err = waiting.communicate(timeout=10)
    assert waiting.returncode == 130
    assert "Traceback" not in err
    assert time.monotonic() - begun < 5


def test_a_pipe_that_closes_is_quiet(soda_path: Path) -> None:
    read, write = os.pipe()
    os.close(read)
    code = "import sys; from tracker.commands import main; sys.exit(main(sys.argv[1:]))"
    ran = subprocess.run(
        [sys.executable, "-c", code, "--kitchen", str(soda_path), "trial", "list", "--json"],
        stdout=write,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    os.close(write)
    assert (ran.returncode, ran.stderr) == (0, "")


def test_json_never_holds_nan(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        print_json({"x": float("nan")})
    print_json({"ü": [1.5, None]})
    assert '"ü"' in capsys.readouterr().out


def test_the_kitchen_is_named_by_flag_then_environment_then_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CRUMBWISE_KITCHEN", raising=False)
    assert kitchen_place(None) == "kitchen.db"
    monkeypatch.setenv("CRUMBWISE_KITCHEN", "env.db")
    assert kitchen_place(None) == "env.db"
    seen = []
    app = app_that(lambda: seen.append((kitchen_place(None), kitchen_place("own.db"))))
    assert run(lambda: app, [], name="crumbwise x", kitchen="before.db") == 0
    assert seen == [("before.db", "own.db")]
    assert kitchen_place(None) == "env.db"


def test_progress_is_silent_away_from_a_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    with progress("baking", 2) as step:
        step("one")
        step("two")
    assert capsys.readouterr() == ("", "")


class Terminal:
    """A stderr that says it is a terminal."""

    encoding = "utf-8"

    def __init__(self) -> None:
        self.text = ""

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> int:
        self.text += text
        return len(text)

    def flush(self) -> None:
        pass


def test_progress_shows_on_a_terminal_and_respects_dumb_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    for term, shows in (("xterm", True), ("dumb", False)):
        stream = Terminal()
        monkeypatch.setenv("TERM", term)
        monkeypatch.setattr(sys, "stderr", stream)
        with progress("baking", 1) as step:
            step("the first loaf")
        assert ("the first loaf" in stream.text) == shows


def test_no_colour_codes_where_none_are_wanted(monkeypatch: pytest.MonkeyPatch) -> None:
    stream = Terminal()
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setattr(sys, "stderr", stream)
    with progress("baking", 1) as step:
        step("the first loaf")
    assert "\x1b[3" not in stream.text  # foreground colours


def test_asking_a_closed_input_gives_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", None)
    assert ask("rise height: ") is None


def test_words_survive_a_terminal_without_their_letters() -> None:
    code = "import sys; from tracker.commands import main; sys.exit(main(['trial', 'plan', 'größe–×.toml']))"
    ran = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"},
        capture_output=True,
        check=False,
    )
    assert ran.returncode == 4
    assert b"Try:" in ran.stderr


@pytest.mark.parametrize(("encoding", "minus"), [("ascii", b"-"), ("cp1252", b"-"), ("utf-8", "−".encode())])
def test_no_number_loses_its_sign_on_a_terminal_without_a_true_minus(encoding: str, minus: bytes) -> None:
    code = "import sys; from tracker.commands import main; sys.exit(main(['leaven', 'altitude', '--', '-400']))"
    ran = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
        capture_output=True,
        check=True,
    )
    assert b"At " + minus + b"400 m" in ran.stdout


def test_shell_imports_no_records() -> None:
    assert "sqlalchemy" not in vars(shell)
