"""Does each reading stand exactly once when the bench and the browser are killed at random moments?

A few kills here; a hundred by ``python tests/drills/kills.py --kills 100``.
"""

from __future__ import annotations

import importlib.util
import os
import random
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser
KILLS = 100 if os.environ.get("CRUMBWISE_LARGE") == "1" else 5


@pytest.fixture
def kills(browser):
    """The module of the drill; asking for the browser skips it by name where there is none."""
    spec = importlib.util.spec_from_file_location("kills", Path(__file__).parents[2] / "drills" / "kills.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["kills"] = module  # its records look themselves up by name
    spec.loader.exec_module(module)
    return module


def test_each_reading_stands_exactly_once_whatever_is_killed(kills, browser, tmp_path):
    log = kills.drill(KILLS, 20261126, tmp_path, play=browser.browser_type)
    assert log.faults == []
    assert log.counts["kills"] == KILLS
    assert log.counts["kill bench"] > 0
    assert log.counts["kill browser"] + log.counts["kill tab"] > 0
    assert log.counts["readings"] > KILLS


TEXT = "door open for a minute, rack low, tin too wide, rest short "


@pytest.mark.parametrize("size", [(390, 844), (768, 1024), (810, 1080), (1280, 800)])
def test_a_pulled_battery_takes_at_most_the_last_instant_of_what_is_typed(kills, browser, served, tmp_path, size):
    """SIGKILL while somebody types without a pause; an entry that waits and a ticked weight outlast it too."""
    from playwright.sync_api import Error

    tablet = kills.Tablet(browser.browser_type, tmp_path / "profile")
    try:
        page = signed_in(tablet, served, size)
        page.context.set_offline(True)
        page.fill("#r1-0-1-v", "42.5")
        page.keyboard.press("Enter")
        page.locator("#r1-0-1 .wrong").filter(has_text="Waiting on this tablet").wait_for()
        page.check("#note input[value='soapy']")
        page.focus("#deviations")
        keys: list[float] = []
        moment: list[float] = []

        def pull():
            moment.append(time.monotonic())
            tablet.kill()

        killer = threading.Timer(random.Random(size[0]).uniform(0.6, 1.6), pull)
        killer.start()
        with suppress(Error):
            for sign in TEXT * 3:
                page.keyboard.type(sign)
                keys.append(time.monotonic())
                time.sleep(0.015)
        killer.join()
        assert 5 < len(keys) < len(TEXT * 3)
        tablet.start()
        page = signed_in(tablet, served, size)  # the network is back: the entry is sent
        kept = page.input_value("#deviations")
        owed = (TEXT * 3)[: sum(at <= moment[0] - kills.SURE for at in keys)]
        assert owed
        assert kept.startswith(owed)
        assert (TEXT * 3).startswith(kept)
        assert page.is_checked("#note input[value='soapy']")
        page.locator("[data-cell='r1-0-1'] .stands").filter(has_text="42.5").wait_for()
    finally:
        tablet.kill()


def signed_in(tablet, served, size):
    """The page of a run; who the tablet knows is not asked again."""
    page = tablet.page
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(f"{served}/run/soda/108")
    if page.locator("#pin").count():
        page.goto(f"{served}/sign-in")
        page.fill("#name", "Bo")
        page.fill("#pin", "8305")
        page.click("button.primary")
        page.wait_for_url(f"{served}/")
        page.goto(f"{served}/run/soda/108")
    page.locator("body[data-ready]").wait_for()
    return page
