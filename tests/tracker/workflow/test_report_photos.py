"""Do a trial's photos stand in its report, few, small, and with words that give nothing away?"""

from __future__ import annotations

import base64
import io
import re
import sqlite3
from datetime import UTC, date, datetime
from html import unescape

import pytest
from PIL import Image
from sqlmodel import select

from tracker.models import PersonDetails, Photo
from tracker.store import open_kitchen
from tracker.workflow.people import add_person
from tracker.workflow.photos import keep_photo
from tracker.workflow.planning import plan_trial
from tracker.workflow.recording import record_run
from tracker.workflow.report_photos import MOST, photos_of
from tracker.workflow.reporting import Look, report_trial
from tracker.workflow.tasting_setup import WhoTastes, set_up_tasting
from tracker.workflow.tastings import close_tasting
from tracker.workflow.verify_report import verify_report

PLAN = """
title = "Fat in a scone"
[[factor]]
name = "fat"
kind = "category"
levels = ["butter", "lard"]
[[response]]
name = "crumb score"
scale = "score"
anchors = ["gummy", "coarse", "fair", "fine"]
goal = "maximise"
[design]
kind = "completely randomised"
replicates = 5
seed = 3
"""
SHOWN = re.compile(r'<img src="data:image/jpeg;base64,([^"]+)" width="(\d+)" height="(\d+)" alt="([^"]+)">')
CAPTIONS = re.compile(r"<li><figure>.*?<figcaption>(.*?)</figcaption>", re.DOTALL)
LARGEST_REPORT = 1_500_000  # bytes of a usual report


def snap(colour: str, size: tuple[int, int] = (1200, 900)) -> bytes:
    out = io.BytesIO()
    noise = Image.effect_noise(size, 60).convert("RGB")
    Image.blend(noise, Image.new("RGB", size, colour), 0.5).save(out, "JPEG")
    return out.getvalue()


@pytest.fixture(scope="module")
def baked(sqlite_template, tmp_path_factory):
    """Ten bakes, all read; nine have photos, the first two of them, and one was taken by Imke."""
    path = tmp_path_factory.mktemp("photos") / "kitchen.db"
    path.write_bytes(sqlite_template.read_bytes())
    path.chmod(0o600)
    with open_kitchen(str(path)) as store:
        planned = plan_trial(store, PLAN, name="fat")
        imke = add_person(store, "Imke <i>").number
        codes = [run.code for run in planned.plan.runs]
        for place, run in enumerate(planned.plan.runs):
            record_run(
                store, "fat", run.code, [f"crumb score={3 if run.settings['fat'] == 'butter' else 1 + place % 2}"]
            )
        keep_photo(store, "fat", codes[0], snap("tan"), person=1)
        keep_photo(store, "fat", codes[0], snap("tan", (900, 1200)), words='split & "pale".', person=imke)
        for code in codes[1:9]:
            keep_photo(store, "fat", code, snap("peru"), person=1)
    return path, codes


@pytest.fixture
def kitchen(baked, tmp_path):
    path, codes = baked
    mine = tmp_path / "kitchen.db"
    mine.write_bytes(path.read_bytes())
    mine.chmod(0o600)
    return str(mine), codes


def written(kitchen: str, target, **how) -> str:
    with open_kitchen(kitchen) as store:
        report_trial(store, "fat", target, **how)
    return target.read_text(encoding="utf-8")


def test_eight_small_photos_stand_in_the_report_with_their_words(kitchen, tmp_path):
    place, codes = kitchen
    page = written(place, tmp_path / "report.html")
    shown = SHOWN.findall(page)
    assert len(shown) == MOST == 8
    assert len(page.encode()) < LARGEST_REPORT
    for data, width, height, _ in shown:
        with Image.open(io.BytesIO(base64.b64decode(data))) as image:
            assert image.size == (int(width), int(height))
            assert max(image.size) == 320
            assert not image.getexif()
        assert len(data) < 60_000
    captions = [unescape(each) for each in CAPTIONS.findall(page)]
    first = next(each for each in captions if each.startswith(f"Bake {codes[0]}: fat "))
    assert 'Split & "pale". Taken by Imke <i> on ' in first
    assert "<i>" not in page
    assert all(re.match(r"Bake \d+: fat (butter|lard)\. ", each) for each in captions)
    assert {re.search("butter|lard", each)[0] for each in captions} == {"butter", "lard"}
    assert all(alt.startswith("Photo of bake ") for *_, alt in shown)
    assert f"{MOST} of 10 photos are shown" in page
    assert verify_report(tmp_path / "report.html", kitchen=place).same


def test_a_photo_that_came_later_is_a_change_of_the_record(kitchen, tmp_path):
    place, codes = kitchen
    page = written(place, tmp_path / "report.html")
    with open_kitchen(place) as store:
        keep_photo(store, "fat", codes[9], snap("black"), person=1)
    verdict = verify_report(tmp_path / "report.html", kitchen=place)
    assert not verdict.same
    assert verdict.reasons[0].startswith("The record changed")
    later = written(place, tmp_path / "later.html")
    assert later != page
    assert f"{MOST} of 11 photos are shown" in later


def test_while_a_tasting_is_open_no_photo_is_shown_and_the_panel_sees_none(kitchen, tmp_path):
    place, codes = kitchen
    with open_kitchen(place) as store:
        who = WhoTastes(nameless=2)
        number = set_up_tasting(
            store, "fat", runs=codes[:2], responses=[1], who=who, allergens="milk", by=1, seed=1
        ).number
    page = written(place, tmp_path / "open.html")
    assert not SHOWN.search(page)
    assert "left out while a tasting of these bakes is open" in page
    with open_kitchen(place) as store:
        close_tasting(store, number, reason="all have tasted", by=1)
    assert SHOWN.search(written(place, tmp_path / "closed.html"))
    assert not SHOWN.search(written(place, tmp_path / "panel.html", look=Look(reader="panel")))
    assert verify_report(tmp_path / "open.html", kitchen=place).same


def test_pictures_and_names_that_are_gone_are_said_or_left_out(kitchen, tmp_path):
    place, _ = kitchen
    before = tmp_path / "before.html"
    written(place, before)
    with open_kitchen(place) as store, store.read() as session:
        numbers = [row.id for row in session.exec(select(Photo).order_by(Photo.id))]
    with sqlite3.connect(place) as raw:  # as nobody can through the bench
        for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            raw.execute(f'DROP TRIGGER "{name}"')
        raw.execute("DELETE FROM photo_content WHERE photo_id = ?", (numbers[1],))
        raw.execute("UPDATE photo_content SET content = ? WHERE photo_id = ?", (b"no picture", numbers[2]))
        raw.execute(f"DELETE FROM {PersonDetails.__tablename__} WHERE name LIKE 'Imke%'")
    with open_kitchen(place) as store:
        told = photos_of(store, "fat")
        assert (len(told.photos), told.further, told.gone) == (7, 1, 2)
    page = written(place, tmp_path / "after.html")
    assert "The pictures of 2 photos are no longer kept." in page
    assert "Imke" not in page
    verdict = verify_report(before, kitchen=place)
    assert not verdict.same
    assert any("photos, or what is said beside them" in reason for reason in verdict.reasons)


def test_a_trial_without_photos_has_no_such_part(sqlite_kitchen, tmp_path):
    with open_kitchen(str(sqlite_kitchen)) as store:
        for run in plan_trial(store, PLAN, name="fat").plan.runs:
            record_run(store, "fat", run.code, ["crumb score=2" if run.place_in_design % 2 else "crumb score=3"])
        assert photos_of(store, "fat") is None
    assert 'class="photos"' not in written(str(sqlite_kitchen), tmp_path / "report.html")


def test_a_photo_was_taken_on_the_day_of_its_kitchen(tmp_path):
    """Nine in the evening in London is the next morning in Auckland."""
    evening = datetime(2026, 11, 26, 21, 0, tzinfo=UTC)
    days = []
    for zone in ("Pacific/Auckland", "Europe/London"):
        place = str(tmp_path / f"{zone[-6:]}.db")
        with open_kitchen(place, create=True, zone=zone, now=lambda: evening) as store:
            code = plan_trial(store, PLAN, name="fat").plan.runs[0].code
            keep_photo(store, "fat", code, snap("tan"), person=1)
            told = photos_of(store, "fat")
        assert told is not None
        days.append(told.photos[0].day)
    assert days == [date(2026, 11, 27), date(2026, 11, 26)]
