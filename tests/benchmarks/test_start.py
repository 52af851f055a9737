"""How long does the command line take to start, beside Python that only imports Typer?

Prints a ratio of medians from one run on one machine; bytecode is compiled first. Run with
``pytest tests/benchmarks/test_start.py -s``. The bound is wide enough for a busy machine.
"""

from __future__ import annotations

import compileall
import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROUNDS = 15
HELP = "import sys; from tracker.commands import main; sys.exit(main(['--help']))"
GROUP_HELP = "import sys; from tracker.commands import main; sys.exit(main(['trial', '--help']))"


def median_seconds(*lines: str) -> list[float]:
    """Medians of fresh processes, taken in turns so that a busy moment strikes all alike."""
    times: list[list[float]] = [[] for _ in lines]
    for _ in range(ROUNDS):
        for line, taken in zip(lines, times, strict=True):
            begun = time.perf_counter()
            subprocess.run([sys.executable, "-c", line], check=True, capture_output=True)
            taken.append(time.perf_counter() - begun)
    return [statistics.median(taken) for taken in times]


@pytest.fixture(scope="module", autouse=True)
def compiled() -> None:
    import typer

    root = Path(__file__).parents[2]
    for folder in (root / "tracker", Path(typer.__file__).parent):
        compileall.compile_dir(folder, quiet=2)


def test_help_starts_about_as_fast_as_python() -> None:
    bare, typer_alone, shown, group = median_seconds("pass", "import typer", HELP, GROUP_HELP)
    print(
        f"\npython {bare * 1000:.0f} ms, import typer {typer_alone * 1000:.0f} ms, "
        f"crumbwise --help {shown * 1000:.0f} ms ({shown / typer_alone:.2f} of it), "
        f"crumbwise trial --help {group * 1000:.0f} ms ({group / typer_alone:.2f})"
    )
    assert shown < 1.5 * typer_alone
