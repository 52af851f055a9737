"""Does ``crumbwise batch report`` put a day, a week, a month or all products on a page, and say what is wrong?"""

from __future__ import annotations

import re

import numpy as np
import pytest

from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.kitchens import opened
from tracker.workflow.logging_batches import log_batches


@pytest.fixture
def kitchen(tmp_path):
    """Two products over April 2026: scones whose flour of the second ten days bakes 4 mm low, and calm buns."""
    from tracker.store import open_kitchen

    chance = np.random.Generator(np.random.PCG64(9))
    where = tmp_path / "kitchen.db"
    with open_kitchen(str(where), create=True, name="Mill", zone="Europe/Berlin") as store:
        for product, step in (("scones", -4.0), ("buns", 0.0)):
            entries = []
            for at in range(60):
                day, lot = 1 + at // 2, 1 + at // 20
                level = 43 + (step if lot == 2 else 0) + chance.normal(0, 0.7)
                entries.append(
                    BatchEntry(
                        number=f"{day:02d}{'ab'[at % 2]}",
                        baked_at=f"2026-04-{day:02d}T{5 + 6 * (at % 2):02d}:00:00Z",
                        oven=("upper", "lower")[int(chance.integers(2))],
                        shift=("early", "late")[at % 2],
                        lots={"flour": f"F-{lot}"},
                        readings={"rise height": tuple(round(level + chance.normal(0, 0.8), 1) for _ in range(3))},
                    )
                )
            log_batches(store, product, entries, units={"rise height": "mm"})
    return where


def test_a_month_tells_its_story_and_stands_by_itself(crumbwise, kitchen, tmp_path):
    out = tmp_path / "april.html"
    ran = crumbwise("--kitchen", kitchen, "batch", "report", "scones", "--month", "2026-04", "--out", out)
    assert ran.code == 0, ran.err
    assert ran.out.startswith("Rise height is not as it was: ")
    assert "flour lot F-2" in ran.out
    page = out.read_text(encoding="utf-8")
    assert "Scones: April 2026" in page
    assert "crumbwise batch report scones --month 2026-04" in page
    assert "<script" not in page
    assert re.findall(r'(?:src|href)="(?!#)', page) == []
    assert "nan" not in re.sub(r"<[^>]*>", " ", page).lower().split()


def test_the_same_record_gives_the_same_page(crumbwise, kitchen, tmp_path):
    for name in ("one", "two"):
        out = tmp_path / f"{name}.html"
        crumbwise("--kitchen", kitchen, "batch", "report", "scones", "--week", "2026-04-13", "--out", out)
    assert (tmp_path / "one.html").read_bytes() == (tmp_path / "two.html").read_bytes()


def test_a_week_before_the_change_knows_nothing_of_what_came_after(crumbwise, kitchen):
    ran = crumbwise("--kitchen", kitchen, "batch", "report", "scones", "--week", "2026-04-01")
    assert ran.code == 0
    assert "F-2" not in ran.out
    assert "10 batches" in ran.out  # Wednesday to Sunday, two a day


def test_all_products_put_the_one_that_needs_eyes_first(crumbwise, kitchen, tmp_path):
    out = tmp_path / "all.html"
    ran = crumbwise("--kitchen", kitchen, "batch", "report", "--month", "last", "--json", "--out", out)
    assert ran.code == 0
    found = {each["product"]: each for each in ran.document["products"]}
    assert found["scones"]["batches"] == 60
    assert found["scones"]["needs_eyes"]
    assert found["buns"]["needs_eyes"] == []  # two alarms in 60 batches, as chance gives
    page = out.read_text(encoding="utf-8")
    assert page.index('<th scope="row">scones') < page.index('<th scope="row">buns')


def test_the_document_lists_alarms_with_the_causes_that_were_entered(crumbwise, kitchen):
    crumbwise(
        "--kitchen", kitchen, "batch", "limits", "scones", "--from", "01a", "--to", "10b", "--reason", "first lot"
    )
    alarms = crumbwise("--kitchen", kitchen, "batch", "alarms", "scones", "--json").document["alarms"]
    assert alarms
    number = alarms[0]["alarm"]
    crumbwise(
        "--kitchen", kitchen, "batch", "answer", "scones", number, "--cause", "weak flour", "--action", "sent back"
    )
    ran = crumbwise("--kitchen", kitchen, "batch", "report", "scones", "--month", "2026-04", "--json")
    told = ran.document["alarms"]
    assert any(each["cause"] == "weak flour" for each in told)
    assert any(each["cause"] is None for each in told)
    assert ran.document["period"] == {"kind": "month", "first": "2026-04-01", "last": "2026-04-30"}


def test_what_is_asked_for_is_what_can_be_answered(crumbwise, kitchen):
    """Batches entered without being judged show their alarms in looking back; nobody is asked to answer those."""
    before = crumbwise("--kitchen", kitchen, "batch", "report", "scones", "--month", "2026-04", "--json").document
    assert before["alarms"]
    assert not any("Say what caused" in line for line in before["words"])
    crumbwise("--kitchen", kitchen, "batch", "limits", "scones", "--from", "01a", "--to", "10b", "--reason", "calm")
    alarms = crumbwise("--kitchen", kitchen, "batch", "alarms", "scones", "--open", "--json").document["alarms"]
    after = crumbwise("--kitchen", kitchen, "batch", "report", "scones", "--month", "2026-04", "--json").document
    (asked,) = [line for line in after["words"] if "Say what caused" in line]
    assert f"{len(alarms)} alarms" in asked


def test_a_decimal_comma_is_used_throughout(crumbwise, kitchen, tmp_path):
    out = tmp_path / "comma.html"
    ran = crumbwise("--kitchen", kitchen, "batch", "report", "scones", "--decimal", "comma", "--out", out)
    text = re.sub(r"<style.*?</style>|<svg.*?</svg>|<[^>]*>", " ", out.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert ran.code == 0
    body = text.split("Where this comes from")[0]
    assert re.search(r"\d,\d", body)
    assert re.search(r"(?<![\d-])\d+\.\d+ mm", body) is None


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("sconse",), 4, "scones"),
        (("scones", "--day", "yesterday"), 2, "no date"),
        (("scones", "--day", "2026-04-01", "--week", "2026-04-01"), 2, "of a day or of a week"),
        (("scones", "--out", "page.txt"), 2, ".html"),
    ],
)
def test_what_cannot_be_is_said(crumbwise, kitchen, words, code, said):
    ran = crumbwise("--kitchen", kitchen, "batch", "report", *words)
    assert ran.code == code
    assert said in ran.err
    assert "Try:" in ran.err


def test_a_day_without_a_batch_and_a_kitchen_without_one(crumbwise, kitchen, tmp_path):
    ran = crumbwise("--kitchen", kitchen, "batch", "report", "scones", "--day", "2026-05-02")
    assert (ran.code, ran.out.strip()) == (0, "No batch was baked on Saturday 2 May 2026.")
    with opened(str(tmp_path / "empty.db"), create=True):
        pass
    ran = crumbwise("--kitchen", tmp_path / "empty.db", "batch", "report")
    assert ran.code == 5
    assert "No batch of any product" in ran.err


def test_a_page_that_cannot_be_written_leaves_nothing(crumbwise, kitchen, tmp_path):
    (tmp_path / "taken").mkdir()
    (tmp_path / "taken" / "page.html").mkdir()  # a folder where the page should stand
    ran = crumbwise("--kitchen", kitchen, "batch", "report", "scones", "--out", tmp_path / "taken" / "page.html")
    assert ran.code == 3
    assert "Try:" in ran.err
    assert list((tmp_path / "taken").iterdir()) == [tmp_path / "taken" / "page.html"]
