"""Bake frames made on the spot, and a short way to ask for a factorial answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from analysis.linear import factor_model
from analysis.questions import Factor, Question, Response
from analysis.results import FamilyResult


def bake_frame(columns: Mapping[str, Sequence[Any]], amounts: Sequence[str]) -> pd.DataFrame:
    """Columns of text as ordered categories in order of appearance, ``amounts`` as floats."""
    frame = pd.DataFrame(dict(columns))
    for name in frame.columns.difference([*amounts, "y", "bake", "order", "readings"]):
        labels = frame[name].astype(str)
        frame[name] = pd.Categorical(labels, categories=list(dict.fromkeys(labels)), ordered=True)
    frame = frame.astype({name: float for name in frame.columns.intersection([*amounts, "y"])})
    extra = {"bake": [str(i + 1) for i in range(len(frame))], "order": range(1, len(frame) + 1), "readings": 1}
    return frame.assign(**{name: value for name, value in extra.items() if name not in frame})


@pytest.fixture(scope="session")
def answer() -> Callable[..., FamilyResult]:
    """answer({"soda": [...], "acid": [...], "y": [...]}, amounts=["soda"], categories=["acid"])."""

    def run(
        columns: Mapping[str, Sequence[Any]] | pd.DataFrame,
        *,
        amounts: Sequence[str] = (),
        categories: Sequence[str] = (),
        matters: float | None = None,
        **asked: Any,
    ) -> FamilyResult:
        frame = columns if isinstance(columns, pd.DataFrame) else bake_frame(columns, amounts)
        factors = [Factor(name=name, kind="amount") for name in amounts]
        factors += [Factor(name=name, kind="category") for name in categories]
        response = replace(Response(name="y"), matters=matters)
        return factor_model(frame, response, Question(factors=tuple(factors), responses=(response,), **asked))

    return run


@pytest.fixture(scope="session")
def frame_of() -> Callable[..., pd.DataFrame]:
    return bake_frame
