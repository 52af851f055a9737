"""A product with a few weeks of batches, calm but for what a test puts in."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tracker.store import Store, open_kitchen
from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.logging_batches import log_batches
from tracker.workflow.phases import freeze_limits
from tracker.workflow.products import specify

FIRST = datetime(2026, 3, 2, 5, 30, tzinfo=UTC)


def entries(count: int, *, seed: int = 5, begin: int = 1, pieces: int = 3, shift: float = 0.0) -> list[BatchEntry]:
    """Batches B001 … two a day: rise height about 43 mm, 0.8 from batch to batch, 1 within."""
    rng = np.random.Generator(np.random.PCG64(seed))
    made = []
    for place in range(begin, begin + count):
        level = 43 + shift + rng.normal(0, 0.8)
        made.append(
            BatchEntry(
                number=f"B{place:03}",
                baked_at=(FIRST + timedelta(hours=12 * place)).isoformat(timespec="seconds").replace("+00:00", "Z"),
                oven="upper" if place % 2 else "lower",
                shift="early" if place % 2 else "late",
                lots={"flour": f"F-{1 + place // 20}"},
                readings={"rise height": tuple(round(level + rng.normal(0, 1.0), 1) for _ in range(pieces))},
            )
        )
    return made


@pytest.fixture
def log_scones() -> Callable[..., None]:
    """``log_scones(store, 30)`` writes that many batches of "scones", not judged."""

    def write(store: Store, count: int, *, product: str = "scones", **how: object) -> None:
        log_batches(store, product, entries(count, **how), units={"rise height": "mm"})  # type: ignore[arg-type]

    return write


@pytest.fixture
def lite(sqlite_kitchen: Path) -> Iterator[Store]:
    """A fresh kitchen on SQLite only, where the other database adds nothing but time."""
    with open_kitchen(str(sqlite_kitchen)) as opened:
        yield opened


@pytest.fixture(scope="session")
def frozen_template(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("frozen") / "kitchen.db"
    shutil.copyfile(sqlite_template, path)
    with open_kitchen(str(path)) as opened:
        log_batches(opened, "scones", entries(30), units={"rise height": "mm"})
        specify(opened, "scones", ["rise height:lower=40,upper=48,target=44"])
        freeze_limits(opened, "scones", "rise height", reason="calm weeks")
    return path


@pytest.fixture
def frozen(frozen_template: Path, tmp_path: Path) -> Iterator[Store]:
    """Thirty calm batches of "scones" whose limits are frozen, and a specification of 40 to 48 mm."""
    path = tmp_path / "frozen.db"
    shutil.copyfile(frozen_template, path)
    path.chmod(0o600)
    with open_kitchen(str(path)) as opened:
        yield opened
