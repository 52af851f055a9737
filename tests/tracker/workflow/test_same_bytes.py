"""Are reports of one record the same bytes wherever, whenever and however they are made?

Ten rebuilds as HTML and as PDF in processes whose time zone, locale, hash seed, folder, drawing settings
lying about in it, and number of jobs differ; a hundred with CRUMBWISE_LARGE=1.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tracker.commands import main

LARGE = os.environ.get("CRUMBWISE_LARGE") == "1"
# How many rebuilds each process makes one after the other; 0: one of two trials at once, by --jobs 2.
REBUILDS = (*(6,) * 16, 0, 0, 0, 0) if LARGE else (5, 4, 0)
TITLE = "Sodä für den Scone – 重曹"
ZONES = ("UTC", "Pacific/Kiritimati", "America/St_Johns", "Asia/Kathmandu", "Europe/Berlin")
LOCALES = ("C", "C.UTF-8", "de_DE.UTF-8", "tr_TR.UTF-8", "ar_EG.UTF-8")
# What a folder may hold that a drawing library reads.
SETTINGS = "font.size: 30\nlines.linewidth: 9\nsvg.hashsalt: other\naxes.grid: True\n"
REBUILD = """
import sys
from tracker.commands import main
for words in sys.stdin.read().splitlines():
    code = main(["--kitchen", "kitchen.db", "trial", "report", *words.split()])
    if code:
        sys.exit(code)
"""


@pytest.fixture(scope="module")
def kitchen(tmp_path_factory: pytest.TempPathFactory, small_plan: Callable[..., str]) -> Path:
    folder = tmp_path_factory.mktemp("kitchen")
    plan = small_plan(TITLE, kind="full factorial", replicates=2, soda="0.5, 1.0, 2.0")
    (folder / "plan.toml").write_text(plan, encoding="utf-8")
    run = ["--kitchen", str(folder / "kitchen.db"), "trial"]
    for name in ("first", "second"):
        assert main([*run, "plan", str(folder / "plan.toml"), "--name", name]) == 0
    for order in range(1, 13):
        assert main([*run, "record", "first", f"#{order}", f"rise={40 + (order * 7) % 11}"]) == 0
    return folder / "kitchen.db"


def pango() -> bool:
    try:
        import weasyprint  # noqa: F401
    except (ImportError, OSError):
        return False
    return True


def commands(rebuilds: int, *, pdf: bool) -> Iterator[str]:
    """What follows ``crumbwise trial report``, one line for each call."""
    for number in range(rebuilds or 1):
        names = "first" if rebuilds else "first second --jobs 2"
        yield f"{names} --folder made-{number} --tables tables-{number}/t.xlsx"
        if pdf:
            yield f"first --folder made-{number} --pdf"


def rebuilt(kitchen: Path, folder: Path, number: int, *, pdf: bool) -> dict[str, set[str]]:
    """File name -> the hashes of what was made under that name in a process of its own."""
    place = folder / f"a folder, № {number}" / ("deep/" * (number % 3)).strip("/")
    place.mkdir(parents=True)
    shutil.copy(kitchen, place / "kitchen.db")
    if number % 2:
        (place / "matplotlibrc").write_text(SETTINGS)
    locale = LOCALES[number % len(LOCALES)]
    env = {name: value for name, value in os.environ.items() if not name.startswith(("LC_", "LANG", "CRUMBWISE"))}
    env |= {"TZ": ZONES[number % len(ZONES)], "LANG": locale, "LC_ALL": locale, "PYTHONHASHSEED": str(number * 7919)}
    env |= {"SOURCE_DATE_EPOCH": str(10**9 * number)} if number % 3 == 0 else {}
    lines = list(commands(REBUILDS[number], pdf=pdf))
    words = [sys.executable, "-X", "utf8", "-c", REBUILD]
    ended = subprocess.run(
        words, cwd=place, env=env, input="\n".join(lines), capture_output=True, text=True, encoding="utf-8"
    )
    assert ended.returncode == 0, ended.stderr
    found: dict[str, set[str]] = {}
    files = [path for folder in (*place.glob("made-*"), *place.glob("tables-*")) for path in folder.iterdir()]
    for path in files:
        found.setdefault(path.name, set()).add(hashlib.sha256(path.read_bytes()).hexdigest())
    assert len(files) == (REBUILDS[number] or 2) * 2 + (REBUILDS[number] or 1) * pdf, sorted(map(str, files))
    return found


def test_rebuilds_are_the_same_bytes(kitchen: Path, tmp_path: Path) -> None:
    pdf = pango()
    together: dict[str, set[str]] = {}
    for number in range(len(REBUILDS)):
        for name, hashes in rebuilt(kitchen, tmp_path, number, pdf=pdf).items():
            together.setdefault(name, set()).update(hashes)
    pages = {"first.html", "second.html"} | ({"first.pdf"} if pdf else set())
    assert set(together) == pages | {"t-first.xlsx", "t-second.xlsx"}
    assert {name: len(hashes) for name, hashes in together.items()} == dict.fromkeys(together, 1)
    if not pdf:
        said = "no Pango here (Debian: libpangoft2-1.0-0): only HTML and tables were compared"
        pytest.fail(said) if os.environ.get("CRUMBWISE_NO_SKIPS") == "1" else pytest.skip(said)
