"""Does the house keep its own rules: layout, words, directions of import, what ships?"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from functools import cache
from pathlib import Path

import pytest

from tracker.commands import VERSION

ROOT = Path(__file__).parents[1]
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "LICENSE",
    "pyproject.toml",
    "requirements.lock",
    "tracker",
    "analysis",
    "reports",
    "tests",
    "demo_data",
}
NOT_OURS = ("__pycache__", "crumbwise-demo", ".db", ".egg-info")

# Written in halves, so that this file does not hold what it looks for.
FORBIDDEN = {
    "a path of somebody's machine": re.compile(r"(?<![\w.:/])/(?:wo" r"rk|ro" r"ot|ho" r"me|tm" r"p|Us" r"ers)/"),
    "the address of a package registry": re.compile(r"py" r"pi\.org|python" r"hosted|py" r"pi/simple"),
    "a word about how the project came about": re.compile(r"tran" r"script|seed doc" r"ument", re.IGNORECASE),
}


@cache
def our_files() -> tuple[Path, ...]:
    """What belongs to the project: what Git follows, or, without Git, what lies here and is not made by a run."""
    if (ROOT / ".git").exists() and shutil.which("git"):
        listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
        paths = [ROOT / name for name in listed.split("\0") if name]
    else:
        paths = [
            path for path in ROOT.rglob("*") if not any(part.startswith(".") for part in path.parts[len(ROOT.parts) :])
        ]
    made = [path for path in paths if any(word in str(path.relative_to(ROOT)) for word in NOT_OURS)]
    return tuple(path for path in paths if path not in made and path.is_file())


def test_the_top_level_holds_only_what_is_agreed():
    top = {path.relative_to(ROOT).parts[0] for path in our_files()}
    assert {name for name in top if not name.startswith(".")} - TOP == set()
    assert TOP - top == set()


@pytest.mark.parametrize("rule", FORBIDDEN)
def test_no_file_holds(rule):
    found = []
    for path in our_files():
        try:
            lines = path.read_text(encoding="utf-8").splitlines()
        except UnicodeDecodeError:
            continue
        found += [
            f"{path.relative_to(ROOT)}:{n}: {line.strip()[:80]}"
            for n, line in enumerate(lines, 1)
            if FORBIDDEN[rule].search(line)
        ]
    assert found == []


@pytest.mark.parametrize(
    ("rule", "line"),
    [
        ("a path of somebody's machine", 'open("' + "/ho" + 'me/baker/kitchen.db")'),
        ("the address of a package registry", "--index-url https://py" + "pi.org/simple"),
        ("a word about how the project came about", "as the Tran" + "script says"),
    ],
)
def test_the_search_for_words_finds_them(rule, line):
    assert FORBIDDEN[rule].search(line)


def test_imports_point_one_way():
    ended = subprocess.run(
        [Path(sys.executable).with_name("lint-imports"), "--no-cache"], cwd=ROOT, capture_output=True, text=True
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr


def test_the_version_stands_once():
    assert tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"] == VERSION


def test_the_lock_pins_every_part_by_hash():
    lock = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    pins = re.findall(r"^([a-z0-9._-]+)(?:\[[^\]]*\])?==\S+", lock, re.MULTILINE | re.IGNORECASE)
    blocks = re.split(r"^(?=\S)", lock, flags=re.MULTILINE)
    assert len(pins) > 50
    assert [block.split()[0] for block in blocks if block.strip() and "--hash=sha256:" not in block] == []
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [
        *project["dependencies"],
        *project["optional-dependencies"]["test"],
        *project["optional-dependencies"]["postgres"],
    ]
    names = {re.match(r"[A-Za-z0-9._-]+", line).group().lower() for line in wanted} - {"crumbwise"}  # type: ignore[union-attr]
    assert names - {pin.lower() for pin in pins} == set()


def test_the_changelog_uses_its_own_headings():
    headings = re.findall(r"^### (.+)$", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert headings
    assert set(headings) <= {"Added", "Changed", "Fixed", "Removed", "Numbers that changed"}


def test_what_is_not_python_ships_too(tmp_path):
    """Templates, migrations and the demo's files are looked for at run time: a wheel without them fails late."""
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    (wheel,) = tmp_path.glob("*.whl")
    shipped = set(zipfile.ZipFile(wheel).namelist())
    ours = {
        path.relative_to(ROOT).as_posix()
        for path in our_files()
        if path.relative_to(ROOT).parts[0] in ("tracker", "analysis", "reports", "demo_data")
    }
    assert len([name for name in ours if not name.endswith(".py")]) >= 5
    assert ours - shipped == set()
