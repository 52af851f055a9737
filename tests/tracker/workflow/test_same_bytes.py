"""Are reports of one record the same bytes wherever, whenever and however they are made?

Ten rebuilds as HTML and as PDF in processes whose time zone, locale, hash seed, folder, drawing settings
lying about in it, and number of jobs differ; a hundred with CRUMBWISE_LARGE=1. Pages of batches, charts and gauge
studies are made in three such processes.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import numpy as np
import pytest

from tracker.commands import main
from tracker.store import open_kitchen
from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.logging_batches import log_batches

LARGE = os.environ.get("CRUMBWISE_LARGE") == "1"
# How many rebuilds each process makes one after the other; 0: one of two trials at once, by --jobs 2.
REBUILDS = (*(6,) * 16, 0, 0, 0, 0) if LARGE else (5, 4, 0)
TITLE = "Sodä für den Scone – 重曹"
ZONES = ("UTC", "Pacific/Kiritimati", "America/St_Johns", "Asia/Kathmandu", "Europe/Berlin")
LOCALES = ("C", "C.UTF-8", "de_DE.UTF-8", "tr_TR.UTF-8", "ar_EG.UTF-8")
# What a folder may hold that a drawing library reads.
SETTINGS = "font.size: 30\nlines.linewidth: 9\nsvg.hashsalt: other\naxes.grid: True\n"
REBUILD = """
import shlex
import sys
from tracker.commands import main
for words in sys.stdin.read().splitlines():
    code = main(["--kitchen", "kitchen.db", *shlex.split(words)])
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


@pytest.fixture(scope="module")
def bakery(tmp_path_factory: pytest.TempPathFactory) -> Iterable[Path]:
    """A month of scones whose flour changes, logged in a kitchen and in a file; heights read by three people."""
    folder = tmp_path_factory.mktemp("bakery")
    chance = np.random.Generator(np.random.PCG64(9))
    entries, rows = [], ["batch,piece weight"]
    for at in range(40):
        level = 43 - 4 * (at >= 25) + chance.normal(0, 0.7)
        found = tuple(round(level + chance.normal(0, 0.8), 1) for _ in range(3))
        number, baked = f"{1 + at // 2:02d}{'ab'[at % 2]}", f"2026-03-{12 + at // 2:02d}T{1 + 21 * (at % 2):02d}:30:00Z"
        lots = {"flour": f"Mühle-{1 + (at >= 25)}"}
        entries.append(BatchEntry(number=number, baked_at=baked, lots=lots, readings={"rise height": found}))
        rows += [f"{number},{value}" for value in found]
    (folder / "log.csv").write_text("\n".join(rows), encoding="utf-8")
    with open_kitchen(str(folder / "kitchen.db"), create=True, name="Mühle", zone="America/St_Johns") as store:
        log_batches(store, "scones", entries, units={"rise height": "mm"})
    heights = ["baker,loaf,height"]
    for loaf, size in enumerate(chance.normal(45, 2.5, 6)):
        heights += [f"{who},{loaf},{size + chance.normal(0, 0.5):.2f}" for who in ("Åsa", "Bo", "重") for _ in (1, 2)]
    (folder / "heights.csv").write_text("\n".join(heights), encoding="utf-8")
    return [folder / name for name in ("kitchen.db", "log.csv", "heights.csv")]


def commands(rebuilds: int, *, pdf: bool) -> Iterator[str]:
    """What follows ``crumbwise``, one line for each call."""
    for number in range(rebuilds or 1):
        names = "first" if rebuilds else "first second --jobs 2"
        yield f"trial report {names} --folder made-{number} --tables tables-{number}/t.xlsx"
        if pdf:
            yield f"trial report first --folder made-{number} --pdf"


# Batches around the end of winter time, as a month and as the day that begins when it is yesterday elsewhere.
OF_THE_BAKERY = (
    "batch report scones --month 2026-03 --out made-0/month.html",
    "batch report scones --day 2026-03-29 --out made-0/day.html",
    "batch report --week 2026-03-23 --out made-0/products.html",
    "batch chart scones --report made-0/product.html",
    'batch chart log.csv --response "piece weight" --report made-0/chart.html',
    "gauge analyse heights.csv --tolerance 8 --report made-0/gauge.html",
)


def made_elsewhere(copied: Iterable[Path], folder: Path, number: int, lines: Iterable[str]) -> list[Path]:
    """The files of the folders ``made-…`` and ``tables-…`` that these commands make in a process of their own."""
    place = folder / f"a folder, № {number}" / ("deep/" * (number % 3)).strip("/")
    (place / "made-0").mkdir(parents=True)
    for path in copied:
        shutil.copy(path, place / path.name)
    if number % 2:
        (place / "matplotlibrc").write_text(SETTINGS)
    locale = LOCALES[number % len(LOCALES)]
    env = {name: value for name, value in os.environ.items() if not name.startswith(("LC_", "LANG", "CRUMBWISE"))}
    env |= {"TZ": ZONES[number % len(ZONES)], "LANG": locale, "LC_ALL": locale, "PYTHONHASHSEED": str(number * 7919)}
    env |= {"SOURCE_DATE_EPOCH": str(10**9 * number)} if number % 3 == 0 else {}
    words = [sys.executable, "-X", "utf8", "-c", REBUILD]
    ended = subprocess.run(
        words, cwd=place, env=env, input="\n".join(lines), capture_output=True, text=True, encoding="utf-8"
    )
    assert ended.returncode == 0, ended.stderr
    return [path for folder in (*place.glob("made-*"), *place.glob("tables-*")) for path in folder.iterdir()]


def hashes_of(files: Iterable[Path]) -> dict[str, set[str]]:
    """File name -> the hashes of what was made under that name."""
    found: dict[str, set[str]] = {}
    for path in files:
        found.setdefault(path.name, set()).add(hashlib.sha256(path.read_bytes()).hexdigest())
    return found


def rebuilt(kitchen: Path, folder: Path, number: int, *, pdf: bool) -> dict[str, set[str]]:
    """The hashes of the trial's reports, made in a process of its own."""
    files = made_elsewhere([kitchen], folder, number, commands(REBUILDS[number], pdf=pdf))
    assert len(files) == (REBUILDS[number] or 2) * 2 + (REBUILDS[number] or 1) * pdf, sorted(map(str, files))
    return hashes_of(files)


def test_pages_of_batches_charts_and_measuring_are_the_same_bytes(bakery: Iterable[Path], tmp_path: Path) -> None:
    files = [path for number in (1, 2, 3) for path in made_elsewhere(bakery, tmp_path, number, OF_THE_BAKERY)]
    assert len(files) == 3 * len(OF_THE_BAKERY)
    found = hashes_of(files)
    assert len(found) == len(OF_THE_BAKERY)
    assert {name: len(hashes) for name, hashes in found.items()} == dict.fromkeys(found, 1)


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
