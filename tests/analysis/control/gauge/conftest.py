"""Invented gauge studies with a known truth."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest


def drawn(
    *,
    people: tuple[str, ...] = ("Ada", "Ben", "Cleo"),
    pieces: int = 8,
    repeats: int = 2,
    offsets: tuple[float, ...] = (0.0, 0.0, 0.0),
    own: tuple[float, ...] = (0.4, 0.4, 0.4),
    piece_sd: float = 3.0,
    nested: bool = False,
    seed: int = 1,
) -> pd.DataFrame:
    """One row a reading: heights about 45 mm, each person with an offset and an SD of repeats."""
    rng = np.random.Generator(np.random.PCG64(seed))
    shared = rng.normal(45, piece_sd, pieces)
    rows = []
    for i, who in enumerate(people):
        sizes = rng.normal(45, piece_sd, pieces) if nested else shared
        for j, size in enumerate(sizes):
            for k in range(repeats):
                rows.append((who, f"loaf {j + 1}", k + 1, size + offsets[i] + rng.normal(0, own[i])))
    return pd.DataFrame(rows, columns=["baker", "loaf", "reading", "height"])


@pytest.fixture
def study() -> Callable[..., pd.DataFrame]:
    return drawn
