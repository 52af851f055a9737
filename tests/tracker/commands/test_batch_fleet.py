"""Does ``crumbwise batch fleet`` judge what ``crumbwise batch export --parquet`` wrote?"""

from __future__ import annotations

import csv
import json

import jsonschema
import pytest

from analysis.control.fleet.serialise import schema
from tracker.store import open_kitchen
from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.logging_batches import log_batches

LEVELS = [43.2, 42.1, 44.0, 43.5, 42.8, 43.9, 43.1, 42.5, 43.7, 42.9] * 3


@pytest.fixture
def kitchen(sqlite_kitchen):
    """30 batches of scones; the last one rose far too little."""
    entries = [
        BatchEntry(
            number=str(number),
            baked_at=f"2026-03-{number:02d}T05:30:00Z",
            line="deck",
            lots={},
            readings={"rise height": (level, level + 0.4)},
        )
        for number, level in enumerate([*LEVELS[:-1], 30.0], 1)
    ]
    with open_kitchen(str(sqlite_kitchen)) as store:
        log_batches(store, "scones", entries)
    return sqlite_kitchen


@pytest.fixture
def folder(crumbwise, kitchen, tmp_path):
    ran = crumbwise("--kitchen", kitchen, "batch", "export", "--parquet", tmp_path / "fleet", "--site", "north")
    assert (ran.code, ran.err) == (0, "")
    assert '60 readings of 1 line, 1 product, site "north".' in ran.out
    return tmp_path / "fleet"


def test_the_line_that_needs_eyes_is_named(crumbwise, folder):
    ran = crumbwise("batch", "fleet", folder)
    assert (ran.code, ran.err) == (0, "")
    words = " ".join(ran.out.split())
    assert "1 line needs eyes, the worst first:" in words
    assert "scones, north, deck, rise height: 1 of the newest 20 batches raised an alarm, also the newest" in words


def test_specifications_come_from_the_command_or_a_file(crumbwise, folder, tmp_path):
    ran = crumbwise("batch", "fleet", folder, "--lower-spec", "42.5", "--upper-spec", "44", "--json")
    (line,) = json.loads(ran.out)["lines"]
    assert (line["specification"]["lower"], line["specification"]["verdict"]) == (42.5, "falls short")
    (tmp_path / "spec.csv").write_text("response,lower,upper\nrise height,10,80\n", encoding="utf-8")
    ran = crumbwise("batch", "fleet", folder, "--spec", tmp_path / "spec.csv", "--json")
    document = json.loads(ran.out)
    jsonschema.validate(document, schema())
    assert document["lines"][0]["specification"]["verdict"] == "meets"
    assert document["engine"] == "one pass"


def rows_of(path):
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def test_lines_and_alarms_are_written(crumbwise, folder, tmp_path):
    ran = crumbwise(
        *("batch", "fleet", folder, "--engine", "duckdb", "--rule", "outside the limits"),
        *("--out", tmp_path / "lines.csv", "--alarms", tmp_path / "alarms.csv"),
    )
    assert ran.code == 0
    (line,) = rows_of(tmp_path / "lines.csv")
    assert (line["product"], line["batches"], line["outside_the_limits"]) == ("scones", "30", "1")
    (alarm,) = rows_of(tmp_path / "alarms.csv")
    assert (alarm["batch"], alarm["side"]) == ("30", "below")


def test_what_is_wrong_is_said_with_its_code(crumbwise, tmp_path, sqlite_kitchen):
    for words, code in (
        (("batch", "fleet", tmp_path / "nowhere"), 4),
        (("batch", "fleet", tmp_path), 4),
        (("batch", "fleet", tmp_path, "--engine", "abacus"), 2),
        (("batch", "fleet", tmp_path, "--rule", "nine in a row"), 2),
        (("--kitchen", sqlite_kitchen, "batch", "export", "--parquet", tmp_path / "out"), 5),
        (("--kitchen", sqlite_kitchen, "batch", "export"), 2),
    ):
        ran = crumbwise(*words)
        assert (ran.code, "Try: " in ran.err) == (code, True), ran.err
