"""Can a baker plan, bake, record, analyse and report a trial from the command line alone?"""

from __future__ import annotations

import csv
import json
import math
import stat
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import select

from tracker.models import Reading
from tracker.store import open_kitchen

PLAN = """
title = "Soda in yogurt loaf"
question = "How much soda gives the tallest loaf?"
flour_per_bake_g = 300

[[factor]]
name = "soda"
kind = "amount"
unit = "% flour"
values = [0.5, 1.0, 1.5, 2.0, 2.5]

[[response]]
name = "rise height"
unit = "mm"
goal = "maximise"
matters = 3.0
plausible = [10, 120]
possible = [0, 400]

[[response]]
name = "crumb score"
scale = "score"
anchors = ["gummy", "coarse", "fair", "fine", "fine and even"]
goal = "maximise"
matters = 1

[design]
kind = "dose ladder"
replicates = 3
seed = 5
"""
DOSES = [0.5, 1.0, 1.5, 2.0, 2.5]


def true_rise(soda: float) -> float:
    """The truth behind the made-up readings: a hump with its top at 1.5 % of flour."""
    return 60 - 8 * (soda - 1.5) ** 2


def noise(order: int) -> float:
    return 1.2 * math.sin(1 + 2.9 * order)


@pytest.fixture
def planned(crumbwise: Callable[..., Any], tmp_path: Path) -> list[dict[str, Any]]:
    (tmp_path / "plan.toml").write_text(PLAN)
    ran = crumbwise("trial", "plan", "plan.toml", "--name", "soda", "--json")
    assert ran.code == 0, ran.err
    return sorted(ran.document["runs"], key=lambda run: run["bake_order"])


def answers(runs: list[dict[str, Any]]) -> str:
    """What is typed at the bench: two answers for each run, in the order of baking."""
    lines = []
    for run in runs:
        soda = run["settings"]["soda"]["value"]
        rise = true_rise(soda) + noise(run["bake_order"])
        lines += [f"{rise:.1f}".replace(".", ","), str(5 if abs(soda - 1.5) < 0.6 else 3)]
    return "\n".join(lines) + "\n"


def test_a_dry_run_plans_and_makes_no_kitchen(crumbwise: Callable[..., Any], tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(PLAN)
    ran = crumbwise("trial", "plan", "plan.toml", "--dry-run", "--json")
    assert ran.code == 0
    assert sorted(run["settings"]["soda"]["value"] for run in ran.document["runs"]) == sorted(DOSES * 3)
    assert not (tmp_path / "kitchen.db").exists()


def test_a_wrong_plan_leaves_no_kitchen_behind(crumbwise: Callable[..., Any], tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(PLAN.replace('kind = "dose ladder"', 'kind = "dose lader"'))
    ran = crumbwise("trial", "plan", "plan.toml")
    assert ran.code == 3
    assert "dose ladder" in ran.err
    assert not (tmp_path / "kitchen.db").exists()


def test_the_whole_loop(crumbwise: Callable[..., Any], planned: list[dict[str, Any]], tmp_path: Path) -> None:
    assert crumbwise("trial", "sheet", "soda", "--out", "sheet.html").code == 0
    sheet = (tmp_path / "sheet.html").read_text()
    assert all(run["code"] in sheet for run in planned)

    ran = crumbwise("trial", "record", "soda", stdin=answers(planned))
    assert ran.code == 0
    assert ran.out == "15 runs recorded.\n"
    asked = [line.split()[1] for line in ran.err.splitlines() if line.startswith("Run ")]
    assert asked == [run["code"] for run in planned]
    listed = crumbwise("trial", "list", "--json").document["trials"][0]
    assert (listed["name"], listed["runs"], listed["baked"]) == ("soda", 15, 15)

    assert crumbwise("trial", "note", "soda", "#3", "soapy at the back", "--tag", "soapy").code == 0
    ran = crumbwise("trial", "analyse", "soda", "--json")
    assert ran.code == 0, ran.err
    rise = next(each for each in ran.document["responses"] if each["response"] == "rise height")
    assert (rise["n_bakes"], rise["n_readings"]) == (15, 15)
    optimum = rise["dose"]["optimum"]
    assert optimum["low"] < 1.5 < optimum["high"]
    assert optimum["response"] == pytest.approx(60, abs=2)
    facts = ran.document["provenance"]
    assert facts["command"] == "crumbwise trial analyse soda"
    assert len(facts["content_sha256"]) == len(facts["audit_head"]) == 64
    words = crumbwise("trial", "analyse", "soda").out
    assert "soda" in words
    assert "rows were used." in words

    assert crumbwise("trial", "report", "soda", "--out", "soda.html").code == 0
    page = (tmp_path / "soda.html").read_text()
    assert "soapy at the back" in page
    assert facts["audit_head"] in page
    assert "<script" not in page
    assert crumbwise("trial", "report", "soda", "--out", "again.html").code == 0
    assert (tmp_path / "again.html").read_bytes() == (tmp_path / "soda.html").read_bytes()

    following = crumbwise("trial", "next", "soda", "--json")
    assert following.code == 0
    assert isinstance(following.document["next_bakes"], list)

    assert crumbwise("trial", "close", "soda", "--reason", "all baked").code == 0
    ran = crumbwise("trial", "record", "soda", planned[0]["code"], "rise height=40")
    assert ran.code == 5
    assert "is closed" in ran.err
    assert crumbwise("trial", "reopen", "soda", "--reason", "one was forgotten").code == 0


def test_what_leaves_comes_back_and_says_the_same(
    crumbwise: Callable[..., Any], planned: list[dict[str, Any]], tmp_path: Path
) -> None:
    crumbwise("trial", "record", "soda", stdin=answers(planned))
    first = crumbwise("trial", "analyse", "soda", "--json").document
    assert crumbwise("trial", "export", "soda", "--out", "soda.csv", "--json").document["files"] == [
        "soda.csv",
        "soda_dictionary.csv",
    ]
    crumbwise("--kitchen", "other.db", "trial", "plan", "plan.toml", "--name", "soda")
    dry = crumbwise("--kitchen", "other.db", "trial", "import", "soda", "soda.csv", "--dry-run", "--json")
    assert (dry.code, dry.document["readings"], dry.document["stored"]) == (0, 30, False)
    ran = crumbwise("--kitchen", "other.db", "trial", "import", "soda", "soda.csv")
    assert ran.code == 0, ran.err
    second = crumbwise("--kitchen", "other.db", "trial", "analyse", "soda", "--json").document
    assert second["responses"] == first["responses"]
    assert second["provenance"]["content_sha256"] == first["provenance"]["content_sha256"]
    said = ["--response", "rise_height_mm", "--factor", "soda_pct_flour:amount", "--matters", "3", "--goal", "maximise"]
    sheet = crumbwise("analyse", "soda.csv", *said, "--json").document
    alone = next(each for each in first["responses"] if each["response"] == "rise height")
    assert sheet["responses"][0]["residual"] == alone["residual"]


def test_stdout_carries_a_blank_form(crumbwise: Callable[..., Any], planned: list[dict[str, Any]]) -> None:
    ran = crumbwise("trial", "export", "soda", "--blank", "--out", "-")
    rows = list(csv.DictReader(ran.out.splitlines()))
    assert [row["run"] for row in rows] == [run["code"] for run in planned]
    assert all(row["rise_height_mm"] == "" for row in rows)


def test_show_lists_every_run(crumbwise: Callable[..., Any], planned: list[dict[str, Any]]) -> None:
    ran = crumbwise("trial", "show", "soda")
    assert ran.code == 0
    assert all(run["code"] in ran.out for run in planned)


def test_a_run_is_recorded_corrected_and_taken_back(
    crumbwise: Callable[..., Any], planned: list[dict[str, Any]], tmp_path: Path
) -> None:
    code = planned[0]["code"]
    done = crumbwise("trial", "record", "soda", code, "rise height=42", "--oven", "181,5", "--json")
    assert done.document["readings"][0]["value"] == 42.0
    assert crumbwise("trial", "record", "soda", code, "rise height=43").code == 5
    assert crumbwise("trial", "record", "soda", code, "rise height=43", "--correct").code == 3
    assert crumbwise("trial", "record", "soda", code, "rise height=43", "--correct", "--reason", "misread").code == 0
    assert crumbwise("trial", "record", "soda", code, "rise height", "--void", "--reason", "wrong loaf").code == 0
    with open_kitchen(str(tmp_path / "kitchen.db")) as store, store.read() as session:
        assert session.exec(select(Reading.value)).all() == [42.0, 43.0, None]


def test_an_unlikely_value_warns_on_stderr(crumbwise: Callable[..., Any], planned: list[dict[str, Any]]) -> None:
    code = planned[0]["code"]
    refused = crumbwise("trial", "record", "soda", code, "rise height=9")
    assert refused.code == 3
    assert "--reason" in refused.err
    kept = crumbwise("trial", "record", "soda", code, "rise height=9", "--reason", "no gas at all", "--json")
    assert kept.code == 0
    assert kept.err.startswith("Warning: ")
    assert kept.document["warnings"]


def test_the_dialogue_asks_again_and_asks_why(crumbwise: Callable[..., Any], planned: list[dict[str, Any]]) -> None:
    ran = crumbwise("trial", "record", "soda", "--json", stdin="tall\n-1\n9\nfine\nno gas at all\n\n\n44\n")
    assert ran.code == 0
    assert "text in a number" in ran.err
    assert "impossible" in ran.err
    assert "unlikely" in ran.err
    recorded = ran.document["recorded"]
    assert [(each["run"], [r["value"] for r in each["readings"]]) for each in recorded] == [
        (planned[0]["code"], [9.0, 4.0])
    ]  # the second was left out; the third ended before its last answer


def test_recording_without_a_run_or_an_input_says_what_to_do(
    crumbwise: Callable[..., Any], planned: list[dict[str, Any]]
) -> None:
    ran = crumbwise("trial", "record", "soda")
    assert ran.code == 2
    assert f'Try: crumbwise trial record "soda" {planned[0]["code"]}' in ran.err


def bad_lines(code: str) -> dict[str, tuple[list[str], int, str]]:
    """What is wrong → command line, exit code, words that must be said."""
    record = ["trial", "record", "soda"]
    return {
        "unknown trial": (["trial", "record", "sodda", code, "rise height=4"], 4, 'Try: "soda"'),
        "unknown run": ([*record, "000", "rise height=40"], 4, 'no run "000"'),
        "unknown response": ([*record, code, "rise hight=40"], 4, 'Try: "rise height"'),
        "text in a number": ([*record, code, "rise height=tall"], 3, "text in a number"),
        "two meanings": ([*record, code, "rise height=1,234"], 3, "can be read as 1234 or as 1.234"),
        "impossible": ([*record, code, "rise height=-3"], 3, "impossible"),
        "no score": ([*record, code, "crumb score=6"], 3, "1 gummy"),
        "failed without a reason": ([*record, code, "--failed"], 3, "--reason"),
        "failed and skipped": ([*record, code, "--failed", "--skipped", "--reason", "x"], 2, "both"),
        "unknown person": ([*record, code, "rise height=40", "--person", "9"], 4, "no person 9"),
        "no value": ([*record, code, "rise height"], 2, "names no value"),
        "oven in words": ([*record, code, "--oven", "hot"], 3, "text in a number"),
        "empty note": (["trial", "note", "soda", code, " "], 3, "empty"),
        "missing file": (["trial", "import", "soda", "none.csv"], 4, "no file"),
        "empty file": (["trial", "import", "soda", "empty.csv"], 3, "is empty"),
        "unknown column": (["trial", "import", "soda", "column.csv"], 3, '--map "rise heigth=rise height"'),
        "bad cell": (["trial", "import", "soda", "cell.csv"], 3, "row 2"),
        "duplicated rows": (["trial", "import", "soda", "twice.csv"], 3, "the same as row 2"),
        "wrong sheet": (["trial", "import", "soda", "book.xlsx", "--sheet", "Reading"], 4, '--sheet "Readings"'),
        "a bomb": (["trial", "import", "soda", "bomb.xlsx"], 3, "unpacks to more than"),
        "new options for a planned trial": (["trial", "import", "soda", "cell.csv", "--block", "day"], 2, "--new"),
        "plan with contradictions": (["trial", "plan", "bad.toml"], 3, "Try:"),
        "taken name": (["trial", "plan", "plan.toml", "--name", "soda"], 5, "soda"),
        "analysis of nothing": (["trial", "analyse", "soda"], 7, "Try:"),
        "report of nothing, with a wish": (["trial", "report", "soda", "--out", "r.html", "--robust"], 7, "Try:"),
        "unknown kind": (["trial", "analyse", "soda", "--kind", "doze"], 2, "--kind dose"),
        "unknown response to analyse": (["trial", "analyse", "soda", "--response", "rise hight"], 4, '"rise height"'),
        "unknown dose": (["trial", "analyse", "soda", "--dose", "sodda"], 3, '--dose "soda"'),
        "no trial named": (["trial", "show"], 2, "--help"),
    }


@pytest.fixture
def bad_files(tmp_path: Path) -> None:
    import io
    import zipfile

    import openpyxl

    (tmp_path / "empty.csv").write_text("")
    (tmp_path / "column.csv").write_text("run,rise heigth\n101,40\n")
    (tmp_path / "cell.csv").write_text("run,rise height\n#1,tall\n")
    (tmp_path / "twice.csv").write_text("bake order,rise height\n1,40\n1,40\n")
    (tmp_path / "bad.toml").write_text(PLAN.replace("matters = 3.0", "matters = -3.0"))
    book = openpyxl.Workbook()
    book.active.title = "Readings"
    book.active.append(["run", "rise height"])
    book.save(tmp_path / "book.xlsx")
    plain = io.BytesIO((tmp_path / "book.xlsx").read_bytes())
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(tmp_path / "bomb.xlsx", "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.infolist():
            swollen = b"<worksheet>" + b"<row/>" * 10_000_000 if "sheet1" in member.filename else None
            new.writestr(member, swollen or old.read(member))


@pytest.mark.usefixtures("bad_files")
def test_bad_input_is_a_sentence_a_code_and_an_untouched_kitchen(
    crumbwise: Callable[..., Any], planned: list[dict[str, Any]], tmp_path: Path
) -> None:
    kitchen = tmp_path / "kitchen.db"
    before = kitchen.read_bytes()
    failures = []
    for wrong, (words, code, must) in bad_lines(planned[0]["code"]).items():
        ran = crumbwise(*words, "--json")
        said = ran.err.splitlines()
        fine = (
            ran.code == code
            and must in ran.err
            and said[-1].startswith("Try: ")
            and any(line.startswith("  Where: ") for line in said)
            and "foresee" not in ran.err
            and ran.document["error"]["exit_code"] == code
            and kitchen.read_bytes() == before
        )
        if not fine:
            failures.append((wrong, ran.code, ran.err))
    assert failures == []


@pytest.mark.usefixtures("planned")
def test_the_kitchen_belongs_to_its_owner(tmp_path: Path) -> None:
    assert stat.S_IMODE((tmp_path / "kitchen.db").stat().st_mode) == 0o600


@pytest.mark.usefixtures("planned")
def test_an_import_with_errors_previews_them_all(crumbwise: Callable[..., Any], tmp_path: Path) -> None:
    (tmp_path / "cell.csv").write_text("bake order,rise height\n1,tall\n2,40\n3,-5\n")
    ran = crumbwise("trial", "import", "soda", "cell.csv", "--dry-run", "--json")
    assert ran.code == 3
    assert [error["row"] for error in ran.document["errors"]] == [2, 4]
    assert ran.document["stored"] is False


def test_a_finished_trial_comes_in_and_its_strata_are_kept(crumbwise: Callable[..., Any]) -> None:
    # Chocolate cake, breaking angle: Cook 1938; Cochran and Cox 1957, p. 300. The strata in the JSON
    # beside the data are those of aov(angle ~ recipe * temp + Error(replicate / recipe)) in R 4.2.2.
    folder = Path(__file__).parents[2] / "published" / "mixed_split_plot"
    expected = json.loads((folder / "cake_split_plot.json").read_text())["expected"]["strata"]
    said = ["--factor", "recipe:category", "--factor", "temperature:category", "--response", "angle"]
    ran = crumbwise(
        *["trial", "import", "cake", folder / "cake_split_plot.csv", "--new", *said],
        *["--block", "replicate", "--group", "replicate+recipe"],
    )
    assert ran.code == 0, ran.err
    ran = crumbwise("trial", "analyse", "cake", "--json")
    assert ran.code == 0, ran.err
    tests = {test["term"]: test for test in ran.document["responses"][0]["tests"]}
    recipe = expected["replicate_recipe"]
    assert tests["recipe"]["df_error"] == recipe["Residuals"]["Df"]
    assert tests["recipe"]["value"] == pytest.approx(recipe["recipe"]["F.value"], rel=1e-8)
    assert tests["recipe"]["p"] == pytest.approx(recipe["recipe"]["Pr..F."], rel=1e-8)


def test_commands_work_where_the_input_is_closed_for_real(soda_path: Path) -> None:
    import subprocess

    code = "import sys; from tracker.commands import main; sys.exit(main(sys.argv[1:]))"
    line = f'"{sys.executable}" -c "{code}" --kitchen "{soda_path}" trial record soda <&-'
    ran = subprocess.run(["sh", "-c", line], capture_output=True, text=True, timeout=30, check=False)
    assert ran.returncode == 2
    assert "\nTry: crumbwise trial record" in ran.stderr


def test_a_trial_without_readings_is_not_analysed(crumbwise: Callable[..., Any], planned: list[dict[str, Any]]) -> None:
    for command in (("analyse", "soda"), ("report", "soda", "--robust"), ("next", "soda")):
        ran = crumbwise("trial", *command)
        assert ran.code == 7
        assert 'Trial "soda" has no readings of' in ran.err
        assert 'Try: crumbwise trial record "soda"' in ran.err


def test_a_response_without_readings_does_not_stop_the_others(
    crumbwise: Callable[..., Any], planned: list[dict[str, Any]]
) -> None:
    for run in planned:
        soda = run["settings"]["soda"]["value"]
        value = true_rise(soda) + noise(run["bake_order"])
        assert crumbwise("trial", "record", "soda", run["code"], f"rise height={value:.1f}").code == 0
    ran = crumbwise("trial", "analyse", "soda", "--json")
    assert ran.code == 0, ran.err
    assert [one["response"] for one in ran.document["responses"]] == ["rise height"]
    assert "crumb score has no readings yet and was left out." in json.dumps(ran.document) + ran.err
    assert crumbwise("trial", "analyse", "soda", "--response", "crumb score").code == 7


def test_a_trial_is_shown_with_what_stands(crumbwise: Callable[..., Any], planned: list[dict[str, Any]]) -> None:
    assert crumbwise("trial", "record", "soda", "#1", "rise height=42.5").code == 0
    assert crumbwise("trial", "record", "soda", "#1", "rise height=43", "--correct", "--reason", "misread").code == 0
    assert crumbwise("trial", "record", "soda", "#2", "--failed", "--reason", "dropped the tin").code == 0
    shown = crumbwise("trial", "show", "soda").out
    assert f"1. {planned[0]['code']}  done; rise height 43\n" in shown
    assert f"2. {planned[1]['code']}  failed: dropped the tin\n" in shown
    assert "42.5" not in shown
