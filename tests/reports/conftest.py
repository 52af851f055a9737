"""What do the tests of pages share: made-up answers and papers, a browser, a reader.

They stand in modules of their own beside this file.
"""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest

from analysis.results import Analysis
from reports.sections.batches import BatchesTold
from reports.sheet import Sheet


def _beside(name: str) -> ModuleType:
    """A module that lies beside this file (tests are no package, and no folder of theirs is on the path)."""
    spec = importlib.util.spec_from_file_location(f"reports_{name}", Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


_answers, _papers, _browsing = (_beside(name) for name in ("made_up_answers", "made_up_papers", "browsing"))
# Also for tests that make pages in a process of their own.
dose_answer, screening_answer = _answers.dose_answer, _answers.screening_answer
factorial_answer, taste_notes = _answers.factorial_answer, _answers.taste_notes
sample_sheet = _papers.sample_sheet


@pytest.fixture(scope="session")
def answers() -> dict[str, Callable[..., Analysis]]:
    return {"dose": dose_answer, "screening": screening_answer, "factorial": factorial_answer}


@pytest.fixture
def notes() -> pd.DataFrame:
    return taste_notes()


@pytest.fixture(scope="session", name="taste_notes")
def new_notes() -> Callable[[], pd.DataFrame]:
    """The same notes in a frame of one's own, for what is made once for many tests."""
    made: Callable[[], pd.DataFrame] = taste_notes
    return made


@pytest.fixture
def read() -> type:
    return _browsing.Page


@pytest.fixture(scope="session")
def sheet() -> Callable[..., Sheet]:
    return sample_sheet


@pytest.fixture(scope="session")
def logged() -> Callable[..., BatchesTold]:
    return _papers.month_of_batches
