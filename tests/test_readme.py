"""Can a stranger do what the README says, word for word?"""

import csv
import re
import shlex
from pathlib import Path

import pytest

from tracker.commands import GROUPS, main

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w*)\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
COMMANDS = [line for kind, block in BLOCKS if not kind for line in block.splitlines() if line.startswith("crumbwise ")]
# Invented: full rise from 3 % on, with a little scatter.
RISE = {1.0: 31.0, 2.0: 38.0, 3.0: 45.0, 4.0: 45.5, 5.0: 45.0}


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """An empty folder with the README's plan file and a spreadsheet of one's own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CRUMBWISE_KITCHEN", raising=False)
    # The plan names no seed, so that every order has its turn; what the readings hold must not hang on it.
    monkeypatch.setattr("tracker.workflow.requests.secrets.randbelow", lambda most: 2417)
    plan = next(block for kind, block in BLOCKS if kind == "toml")
    Path("muffin.toml").write_text(plan, encoding="utf-8")
    rows = [f"{dose},{rise + shift}" for dose, rise in RISE.items() for shift in (-0.8, 0.2, 0.9)]
    Path("rise.csv").write_text("\n".join(["powder,rise", *rows]), encoding="utf-8")
    words = {"deck": "gummy fair fair fine", "fan": "fair fine fine gummy"}
    tastes = [
        f"{oven},{taster},{word}"
        for oven, said in words.items()
        for taster in "abcdef"
        for word in (said.split()[ord(taster) % 4], said.split()[ord(taster) % 3])
    ]
    Path("taste.csv").write_text("\n".join(["oven,taster,crumb", *tastes]), encoding="utf-8")
    heights = [
        f"{baker},{loaf},{42 + loaf + lift + 0.3 * ((7 * loaf + 5 * turn + len(baker)) % 3)}"
        for baker, lift in (("Ada", 0), ("Ben", 0.4), ("Cleo", 0.1))
        for loaf in range(6)
        for turn in range(2)
    ]
    Path("heights.csv").write_text("\n".join(["baker,loaf,height", *heights]), encoding="utf-8")
    mould = ["0.1,20,3", "0.2,20,9", "0.4,20,15", "0.8,20,19"]
    Path("mould.csv").write_text("\n".join(["dose,total,affected", *mould]), encoding="utf-8")


def fill_in(path: str) -> None:
    """Type readings into the blank spreadsheet, as a baker would (the treatment is known to the kitchen only)."""
    import json
    from contextlib import closing
    from sqlite3 import connect

    with closing(connect("kitchen.db")) as kitchen:
        doses = {
            code: json.loads(settings)["powder"] for code, settings in kitchen.execute("SELECT code, settings FROM run")
        }
    with open(path, encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    for place, row in enumerate(rows):
        if row["bake_order"] not in ("1", "2"):
            row["rise_height_mm"] = str(round(RISE[doses[row["run"]]] + (place % 5 - 2) * 0.4, 1))
    rows = [row for row in rows if row["rise_height_mm"]]
    with open(path, "w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)


def test_the_walk_through_works_word_for_word(bench, capsys):
    assert len(COMMANDS) > 15
    for line in COMMANDS:
        words = shlex.split(line)[1:]
        if words[:2] == ["trial", "import"] and "--dry-run" in words:
            fill_in("readings.csv")
        assert main(words) == 0, f"{line}\n{capsys.readouterr().err}"
    assert Path("report.html").stat().st_size > 20_000
    assert Path("rise.html").exists()
    said = capsys.readouterr().out
    assert "powder" in said


def test_the_walk_finds_what_the_numbers_hold(bench, capsys):
    import json

    for line in COMMANDS[: next(i for i, line in enumerate(COMMANDS) if " analyse " in line)]:
        if "--dry-run" in line and " import " in line:
            fill_in("readings.csv")
        assert main(shlex.split(line)[1:]) == 0
    capsys.readouterr()
    assert main(["trial", "analyse", "muffin", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    dose = answer["responses"][0]["dose"]
    # Within 3 mm of 45.5 mm the ladder is from a little above 2.5 % on.
    assert 2.3 <= dose["recommended"]["dose"] <= 3.0
    assert answer["responses"][0]["n_bakes"] == 14


@pytest.mark.parametrize("name", GROUPS)
def test_every_group_of_commands_stands_in_the_table(name):
    assert f"| `crumbwise {name}` |" in README


def test_every_exit_code_stands_in_the_table():
    from analysis.errors import AnalysisError, PlanError, TrialDataError
    from tracker import errors

    kinds = [AnalysisError, PlanError, TrialDataError, *vars(errors).values()]
    codes = {kind.exit_code for kind in kinds if isinstance(kind, type) and hasattr(kind, "exit_code")}
    listed = {int(code) for code in re.findall(r"^\| (\d+) \|", README, flags=re.MULTILINE)}
    assert codes <= listed


def test_every_design_is_named():
    from analysis.designs.catalogue import KINDS

    assert [kind for kind in KINDS if f"`{kind}`" not in README] == []


def test_nothing_that_is_here_is_called_missing():
    from analysis.understood import SETTINGS

    missing = README.split("## Not yet")[1].lower()
    here = ("mixed model", "ordinal", "mixture", "surface", "optimal design", *SETTINGS.values())
    assert [word for word in here if word in missing] == []
