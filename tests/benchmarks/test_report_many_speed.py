"""How much sooner are the reports of a class there when two are made at once? The ratio within one run, printed.

``pytest -s tests/benchmarks/test_report_many_speed.py`` makes six; with CRUMBWISE_LARGE=1 it makes the 40 of a
term and holds the ratio to 1.8, which takes two cores that do nothing else.
"""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from tracker.commands import main
from tracker.workflow.report_many import Wish, report_many

LARGE = os.environ.get("CRUMBWISE_LARGE") == "1"
TRIALS = 40 if LARGE else 6
PLAN = """
title = "Powder for the oat muffin"
flour_per_bake_g = 200

[[factor]]
name = "powder"
kind = "amount"
unit = "% flour"
values = [1, 2, 3, 4]

[[response]]
name = "rise"
unit = "mm"
goal = "maximise"
matters = 3

[design]
kind = "dose ladder"
replicates = 3
seed = 5
"""


@pytest.fixture(scope="module")
def kitchen(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("class")
    (folder / "plan.toml").write_text(PLAN)
    place = str(folder / "kitchen.db")
    for number in range(TRIALS):
        run = ["--kitchen", place, "trial"]
        assert main([*run, "plan", str(folder / "plan.toml"), "--name", f"group {number}"]) == 0
        for order in range(1, 13):
            rise = 40 + (order * 7 + number * 3) % 11
            assert main([*run, "record", f"group {number}", f"#{order}", f"rise={rise}"]) == 0
    return place


def timed(kitchen: str, folder: Path, jobs: int) -> float:
    begun = time.perf_counter()
    outcomes = report_many(kitchen, [f"group {number}" for number in range(TRIALS)], folder, Wish(), jobs=jobs)
    assert [(outcome.trial, outcome.failure) for outcome in outcomes if outcome.failure] == []
    assert len(outcomes) == TRIALS
    return time.perf_counter() - begun


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one core only")
def test_two_at_once(kitchen: str, tmp_path: Path) -> None:
    one = timed(kitchen, tmp_path / "one", 1)
    two = timed(kitchen, tmp_path / "two", 2)
    print(f"\n{TRIALS} reports: {one:.1f} s one by one, {two:.1f} s two at once: {one / two:.2f} times faster")
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes()
    if LARGE:
        assert one / two >= 1.8
