"""Do the tests exist that DEVELOPERS.md names for each item of the statistics?"""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
HEADING = "## The statistics, item by item\n"
ITEMS = 13


def rows():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split(HEADING)[1].split("\n## ")[0]
    lines = [line for line in text.splitlines() if line.startswith("| ")][1:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def test_every_item_has_its_row():
    assert len(rows()) == ITEMS
    assert len({row[0] for row in rows()}) == ITEMS
    assert all(len(row) == 5 and row[1] for row in rows())


@pytest.mark.parametrize("row", rows(), ids=lambda row: row[0])
def test_every_test_that_is_named_exists(row):
    named = re.findall(r"`(tests/[^`]+)`", " ".join(row[2:]))
    assert len(named) == 3, "an outside source, a simulation and a failing case"
    for each in named:
        file, _, test = each.partition("::")
        assert (ROOT / file).is_file(), each
        assert re.search(rf"^def {re.escape(test)}\(", (ROOT / file).read_text(encoding="utf-8"), re.MULTILINE), each
