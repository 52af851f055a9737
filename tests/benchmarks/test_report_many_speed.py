"""How much sooner are the reports of a class there when two are made at once? The ratio within one run, printed.

``pytest -s tests/benchmarks/test_report_many_speed.py`` makes six; with CRUMBWISE_LARGE=1 it makes the 40 of a
term and holds the ratio to 1.8, which takes two cores that do nothing else. Both are whole commands, each in a
process of its own, so that both load for themselves what they need. Where other work shares the cores the clock
says little; then the seconds that the processors worked for each are the figures to look at.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sysconfig
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tracker.commands import main

LARGE = os.environ.get("CRUMBWISE_LARGE") == "1"
TRIALS = 40 if LARGE else 6
CRUMBWISE = shutil.which("crumbwise", path=sysconfig.get_path("scripts")) or "crumbwise"


@pytest.fixture(scope="module")
def kitchen(tmp_path_factory: pytest.TempPathFactory, small_plan: Callable[..., str]) -> str:
    folder = tmp_path_factory.mktemp("class")
    plan = small_plan("Powder for the oat muffin", kind="dose ladder", soda="1, 2, 3, 4", acid=False)
    (folder / "plan.toml").write_text(plan)
    place = str(folder / "kitchen.db")
    for number in range(TRIALS):
        run = ["--kitchen", place, "trial"]
        assert main([*run, "plan", str(folder / "plan.toml"), "--name", f"group {number}"]) == 0
        for order in range(1, 13):
            rise = 40 + (order * 7 + number * 3) % 11
            assert main([*run, "record", f"group {number}", f"#{order}", f"rise={rise}"]) == 0
    return place


def timed(kitchen: str, folder: Path, jobs: int) -> tuple[float, float]:
    """(seconds by the clock, seconds of processors) of the command that makes all reports."""
    words = ["--kitchen", kitchen, "trial", "report", "--every", "--folder", str(folder), "--jobs", str(jobs)]
    worked, begun = spent(), time.perf_counter()
    ended = subprocess.run([CRUMBWISE, *words], capture_output=True, text=True)
    lasted = time.perf_counter() - begun
    assert ended.returncode == 0, ended.stderr
    assert len(list(folder.iterdir())) == TRIALS
    return lasted, spent() - worked


def spent() -> float:
    """Seconds of processors that children of this process used, theirs included, once they ended."""
    times = os.times()
    return times.children_user + times.children_system


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one core only")
def test_two_at_once(kitchen: str, tmp_path: Path) -> None:
    one, worked_one = timed(kitchen, tmp_path / "one", 1)
    two, worked_two = timed(kitchen, tmp_path / "two", 2)
    print(f"\n{TRIALS} reports: {one:.1f} s one by one, {two:.1f} s two at once: {one / two:.2f} times faster")
    print(f"processors worked {worked_one:.1f} s and {worked_two:.1f} s")
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes()
    if LARGE:
        assert one / two >= 1.8
