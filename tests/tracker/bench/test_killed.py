"""Does each reading stand exactly once when the bench and the browser are killed at random moments?

A few kills here; a hundred by ``python tests/drills/kills.py --kills 100``.
"""

from __future__ import annotations

import importlib.util
import os
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser
KILLS = 100 if os.environ.get("CRUMBWISE_LARGE") == "1" else 5


@pytest.fixture
def drill(browser):
    """The drill; asking for the browser skips it by name where there is none."""
    spec = importlib.util.spec_from_file_location("kills", Path(__file__).parents[2] / "drills" / "kills.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["kills"] = module  # its records look themselves up by name
    spec.loader.exec_module(module)
    return module.drill


def test_each_reading_stands_exactly_once_whatever_is_killed(drill, browser, tmp_path):
    log = drill(KILLS, 20261126, tmp_path, play=browser.browser_type)
    assert log.faults == []
    assert log.counts["kills"] == KILLS
    assert log.counts["kill bench"] > 0
    assert log.counts["kill browser"] + log.counts["kill tab"] > 0
    assert log.counts["readings"] > KILLS
