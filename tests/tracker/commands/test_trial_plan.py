"""Does somebody without a plan file get a plan from questions alone, or from a ready one?"""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tracker.commands import main
from tracker.intake.plan_file import read_plan

LADDER = ["2", "soda", "% flour", "0,5 to 2,5", "", "", "8", "", "rise height", "mm", "", "3", "2", "", "", ""]


class Terminal(io.StringIO):
    """What is typed at a terminal; "^C" on a line of its own interrupts."""

    def isatty(self) -> bool:
        return True

    def readline(self, *size: Any) -> str:
        line = super().readline(*size)
        if line.strip() == "^C":
            raise KeyboardInterrupt
        return line


@pytest.fixture
def typed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> Callable[..., tuple[int, str, str]]:
    """``typed(lines, "--out", "x.toml")``: exit code, stdout and stderr of ``crumbwise trial plan``."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))

    def run(lines: list[str], *words: str) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.stdin", Terminal("".join(f"{line}\n" for line in lines)))
        capsys.readouterr()
        code = main(["trial", "plan", *words])
        return code, *capsys.readouterr()

    return run


def files(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_the_questions_alone_make_a_plan_and_a_trial(typed: Any, crumbwise: Any, tmp_path: Path) -> None:
    code, out, err = typed([*LADDER, "yes"], "--seed", "5")
    assert code == 0, err
    assert 'Advised: "dose ladder"' in out
    assert "The next best is" in out
    assert 'Trial "how-much-soda" is planned' in out
    assert {"how-much-soda.toml", "kitchen.db"} <= set(files(tmp_path))
    plan = read_plan((tmp_path / "how-much-soda.toml").read_text(encoding="utf-8"))
    assert (plan.factors[0].low, plan.factors[0].high) == (0.5, 2.5)
    assert plan.responses[0].spread == pytest.approx(2 / 1.128, abs=0.01)
    assert plan.design.seed == 5
    listed = crumbwise("trial", "list", "--json").document["trials"]
    assert [each["name"] for each in listed] == ["how-much-soda"]


def test_enter_all_the_way_makes_a_plan_too(typed: Any, tmp_path: Path) -> None:
    code, out, _ = typed([""] * 40)
    assert code == 0
    (name,) = files(tmp_path)
    assert name.endswith(".toml")
    assert f"crumbwise trial plan {name} --dry-run" in out
    assert main(["trial", "plan", str(tmp_path / name), "--dry-run"]) == 0


def test_what_cannot_be_is_asked_again_with_the_reason(typed: Any, tmp_path: Path) -> None:
    lines = ["7", "?", *LADDER[:3], "2,5 to 0,5", "about 2", "back", "g", *LADDER[3:], ""]
    code, _, err = typed(lines)
    assert code == 0, err
    for said in ("none of these", "The answer decides", "do not rise", "is text in a number"):
        assert said in err
    (name,) = files(tmp_path)
    assert read_plan((tmp_path / name).read_text(encoding="utf-8")).factors[0].unit == "g"


def test_back_at_the_first_question_stays_there(typed: Any) -> None:
    code, _, err = typed(["back", *LADDER, ""])
    assert code == 0
    assert "This is the first question." in err


@pytest.mark.parametrize("answered", [0, 1, 5, len(LADDER) - 1])
def test_an_end_of_input_leaves_nothing_behind(typed: Any, tmp_path: Path, answered: int) -> None:
    code, out, err = typed(LADDER[:answered])
    assert code == 2
    assert "nothing was written" in err
    assert "\nTry: crumbwise trial plan" in err
    assert out == ""
    assert files(tmp_path) == []


@pytest.mark.parametrize("answered", [0, 6])
def test_an_interrupt_leaves_nothing_behind(typed: Any, tmp_path: Path, answered: int) -> None:
    code, _, err = typed([*LADDER[:answered], "^C"])
    assert code == 130
    assert "nothing was written" in err
    assert files(tmp_path) == []


def test_an_interrupt_at_the_last_question_leaves_a_whole_file_and_no_trial(typed: Any, tmp_path: Path) -> None:
    code, out, err = typed([*LADDER, "^C"])
    assert code == 130
    assert "the plan file stays" in err
    assert files(tmp_path) == ["how-much-soda.toml"]
    assert "Trial" not in out
    assert read_plan((tmp_path / "how-much-soda.toml").read_text(encoding="utf-8")).title == "How much soda"


def test_no_file_is_ever_replaced(typed: Any, tmp_path: Path) -> None:
    typed([*LADDER, ""])
    first = (tmp_path / "how-much-soda.toml").read_text(encoding="utf-8")
    code, out, _ = typed([*LADDER, ""])
    assert code == 0
    assert "how-much-soda-2.toml" in out
    assert (tmp_path / "how-much-soda.toml").read_text(encoding="utf-8") == first
    code, _, err = typed(LADDER, "--out", "how-much-soda.toml")
    assert code == 5
    assert "Try: --out how-much-soda-3.toml" in err


def test_too_few_bakes_are_asked_about_again(typed: Any, tmp_path: Path) -> None:
    lines = [*LADDER]
    lines[7] = "3"
    code, out, err = typed([*lines, "20", *LADDER[8:], ""])
    assert code == 0, err
    assert "bakes are too few" in err
    assert "Advised" in out


def test_a_seed_that_no_plan_keeps_is_refused_before_anything_is_asked(typed: Any) -> None:
    code, _, err = typed(LADDER, "--seed", "-1")
    assert code == 3
    assert "What do you want to know" not in err


@pytest.mark.parametrize("nonsense", ["\x00", "\u202e", "x" * 5000, "1e999", "nan", "[[factor]]", "' OR 1=1"])
def test_nonsense_is_asked_again_or_kept_as_a_name(typed: Any, tmp_path: Path, nonsense: str) -> None:
    lines = [text for line in LADDER for text in (nonsense, line)]
    code, _, err = typed([*lines, "", *[""] * 60])
    assert code == 0, err
    assert "foresee" not in err
    (name,) = files(tmp_path)
    read_plan((tmp_path / name).read_text(encoding="utf-8"))


def test_a_dry_run_shows_the_plan_and_writes_nothing(typed: Any, tmp_path: Path) -> None:
    code, out, _ = typed(LADDER, "--dry-run", "--seed", "5")
    assert code == 0
    assert 'kind = "dose ladder"' in out
    assert files(tmp_path) == []


def test_formulas_of_the_kitchen_are_offered_with_their_lines(typed: Any, crumbwise: Any, tmp_path: Path) -> None:
    lines = ["wheat flour=100", "water=70", "baking soda=1"]
    added = crumbwise("formula", "add", "loaf", *(word for line in lines for word in ("--line", line)))
    assert added.code == 0, added.err
    lines = ["2", "loaf", "250", "soda", "% flour", "0.5; 1; 1,5; 2", "", *LADDER[4:], ""]
    code, _, err = typed(lines)
    assert code == 0, err
    text = (tmp_path / "how-much-soda.toml").read_text(encoding="utf-8")
    plan = read_plan(text)
    assert plan.formula_name == "loaf"
    assert plan.flour_per_bake_g == 250
    assert plan.factors[0].ingredient == "baking soda"
    assert plan.factors[0].values == [0.5, 1.0, 1.5, 2.0]
    assert crumbwise("trial", "plan", "how-much-soda.toml").code == 0


def test_without_a_terminal_nothing_is_asked(crumbwise: Callable[..., Any], tmp_path: Path) -> None:
    for stdin in (None, "1\n"):
        ran = crumbwise("trial", "plan", stdin=stdin)
        assert ran.code == 2
        assert "nobody to ask" in ran.err
        assert "Try: crumbwise trial plan FILE" in ran.err
        assert "--starter" in ran.err
    assert files(tmp_path) == []


def test_json_asks_nothing(typed: Any) -> None:
    code, out, err = typed(LADDER, "--json")
    assert code == 2
    assert "--json cannot ask" in err
    assert json.loads(out)["error"]["exit_code"] == 2


def test_a_file_and_a_starter_contradict_each_other(crumbwise: Callable[..., Any]) -> None:
    for words in (["soda.toml", "--starter", "soda-ladder"], ["soda.toml", "--out", "other.toml"]):
        ran = crumbwise("trial", "plan", *words)
        assert ran.code == 2
        assert "as well" in ran.err


def test_starters_are_listed(crumbwise: Callable[..., Any]) -> None:
    ran = crumbwise("trial", "plan", "--list-starters", "--json")
    assert ran.code == 0
    names = [each["starter"] for each in ran.document["starters"]]
    assert len(names) == 8
    shown = crumbwise("trial", "plan", "--list-starters").out
    assert all(name in shown for name in names)


def test_a_starter_is_shown_written_and_planned(crumbwise: Callable[..., Any], tmp_path: Path) -> None:
    shown = crumbwise("trial", "plan", "--starter", "soda-ladder", "--dry-run", "--json")
    assert shown.code == 0
    assert shown.document["design"]["kind"] == "dose ladder"
    assert files(tmp_path) == []
    written = crumbwise("trial", "plan", "--starter", "soda-ladder", "--out", "my.toml", "--json")
    assert written.document["plan"] == "my.toml"
    assert files(tmp_path) == ["my.toml"]
    assert crumbwise("trial", "plan", "--starter", "soda-ladder", "--out", "my.toml").code == 5
    from_file = crumbwise("trial", "plan", "my.toml", "--dry-run", "--json").document
    assert from_file == shown.document
    assert crumbwise("trial", "plan", "--starter", "soda-ladder", "--name", "mine").code == 0
    missed = crumbwise("trial", "plan", "--starter", "soda-lader")
    assert missed.code == 4
    assert "Try: --starter soda-ladder" in missed.err


@pytest.mark.skipif(os.name == "nt", reason="needs a terminal of the POSIX kind")
def test_on_a_real_terminal_it_asks_and_ctrl_c_ends_it(tmp_path: Path) -> None:
    import pty

    ours, theirs = pty.openpty()
    code = "import sys; from tracker.commands import main; sys.exit(main(sys.argv[1:]))"
    asked = subprocess.Popen(
        [sys.executable, "-c", code, "trial", "plan"],
        stdin=theirs,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=tmp_path,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[3]), "XDG_STATE_HOME": str(tmp_path / "state")},
    )
    assert asked.stderr is not None
    os.write(ours, b"2\n")
    said = ""
    until = time.monotonic() + 30
    while "Name of thing 1" not in said and time.monotonic() < until:
        said += os.read(asked.stderr.fileno(), 4096).decode()
    asked.send_signal(signal.SIGINT)
    _, rest = asked.communicate(timeout=30)
    os.close(ours)
    os.close(theirs)
    assert asked.returncode == 130, rest
    assert "nothing was written" in rest
    assert "Traceback" not in rest
    assert files(tmp_path) == []
