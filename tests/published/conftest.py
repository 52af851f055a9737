"""Published cases, ready to analyse: the data beside the figures that others computed from it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.estimates import Coefficient, Comparison, Effect, Mean, Test
from analysis.linear import factor_model
from analysis.questions import Factor, Question, Response
from analysis.results import FamilyResult

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Answer:
    """A factorial answer with its rows by name, and the figures of the case."""

    result: FamilyResult
    expected: Mapping[str, Any]

    @property
    def tests(self) -> dict[str, Test]:
        return {line.term: line for line in self.result.tests}

    @property
    def effects(self) -> dict[str, Effect]:
        return {line.term: line for line in self.result.effects}

    @property
    def coefficients(self) -> dict[str, Coefficient]:
        return {line.term: line for line in self.result.coefficients}

    def means(self, factor: str, at: Mapping[str, str] | None = None) -> dict[str, Mean]:
        return {m.level: m for m in self.result.means if m.factor == factor and dict(m.at) == (at or {})}

    def comparisons(self, factor: str, at: Mapping[str, str] | None = None) -> dict[tuple[str, str], Comparison]:
        return {(c.a, c.b): c for c in self.result.comparisons if c.factor == factor and dict(c.at) == (at or {})}

    def checks(self) -> dict[str, Any]:
        return {check.check: check for check in self.result.checks}


def figures(case: str) -> dict[str, Any]:
    """The JSON of ``topic/name``."""
    return dict(json.loads((HERE / f"{case}.json").read_text()))


def bakes_of(case: str, categories: Sequence[str], amounts: Sequence[str], response: str) -> pd.DataFrame:
    """The CSV of a case as a bake frame: each row one bake."""
    frame = pd.read_csv(HERE / f"{case}.csv")
    for name in categories:
        labels = frame[name].astype(str)
        frame[name] = pd.Categorical(labels, categories=list(dict.fromkeys(labels)), ordered=True)
    frame = frame.astype(dict.fromkeys([*amounts, response], float))
    return frame.assign(bake=[str(i + 1) for i in range(len(frame))], order=range(len(frame)), readings=1)


@pytest.fixture(scope="session")
def analyse() -> Callable[..., Answer]:
    """analyse("anova/bread_rise_oneway", "height", categories=["time"]) and so on."""

    def run(
        case: str,
        response: str,
        *,
        categories: Sequence[str] = (),
        amounts: Sequence[str] = (),
        blocks: Sequence[str] = (),
        group: Sequence[str] = (),
        change: Callable[[pd.DataFrame], pd.DataFrame] | None = None,
        **asked: Any,
    ) -> Answer:
        named = list(dict.fromkeys([*categories, *blocks, *group]))
        frame = bakes_of(case, named, amounts, response)
        frame = change(frame) if change else frame
        factors = [Factor(name=name, kind="category") for name in categories]
        factors += [Factor(name=name, kind="amount") for name in amounts]
        measured = Response(name=response)
        question = Question(
            factors=tuple(factors), responses=(measured,), blocks=tuple(blocks), group=tuple(group), **asked
        )
        return Answer(factor_model(frame, measured, question), figures(case)["expected"])

    return run
