"""Is a missing server a named skip, and a failure where skips are not allowed?"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

CHOSEN = f"{Path(__file__).with_name('tracker') / 'test_store.py'}::test_an_unknown_person_cannot_act"


@pytest.mark.parametrize(("no_skips", "outcome"), [("0", "1 passed, 1 skipped"), ("1", "1 passed, 1 error")])
def test_without_a_server(no_skips: str, outcome: str) -> None:
    environment = {**os.environ, "CRUMBWISE_TEST_POSTGRES": "none", "CRUMBWISE_NO_SKIPS": no_skips}
    command = [sys.executable, "-m", "pytest", "-rs", "-p", "no:cacheprovider", CHOSEN]
    ran = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
    assert outcome in ran.stdout
    assert "no PostgreSQL server here" in ran.stdout
