"""A short way from readings to the part."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.linear import factor_model
from analysis.questions import Factor, Question, Response
from analysis.results import FamilyResult
from analysis.surfaces.family import with_surface


@pytest.fixture(scope="session")
def surface_of() -> Callable[..., FamilyResult]:
    """surface_of(settings (n, k), y, goal="minimise", oven=[...]) -> the answer with its surface."""

    def run(
        settings: np.ndarray, y: np.ndarray, *, names: Sequence[str] = (), response: dict[str, Any] | None = None,
        asked: dict[str, Any] | None = None,
        beside: dict[str, Sequence[str]] | None = None, **categories: Sequence[str],
    ) -> FamilyResult:  # fmt: skip
        names = list(names) or [f"x{i + 1}" for i in range(settings.shape[1])]
        frame = pd.DataFrame(settings, columns=names).assign(y=y)
        for name, labels in {**(beside or {}), **categories}.items():
            frame[name] = pd.Categorical(list(labels), ordered=True)
        n = len(frame)
        frame = frame.assign(bake=[str(i) for i in range(n)], order=np.random.default_rng(3).permutation(n), readings=1)
        factors = [Factor(name=name, kind="amount") for name in names]
        factors += [Factor(name=name, kind="category") for name in categories]
        wanted = Response(**{"name": "y", **(response or {})})
        question = Question(factors=tuple(factors), responses=(wanted,), **{"kind": "surface", **(asked or {})})
        return with_surface(factor_model(frame, wanted, question), frame, wanted, question)

    return run
