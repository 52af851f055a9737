"""For each type of design: do false alarms come in 5 % of trials, and do intervals hold the truth in 95 %?

A gate on the whole way from readings to findings. ``CRUMBWISE_LARGE=1`` runs 2,000 trials of each
(within 1.5 points); the usual run takes 150 of each and allows for its own chance.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd
import pytest

from analysis.bakes import bake_table
from analysis.linear import factor_model
from analysis.questions import Factor, Question, Response

TRIALS = 2000 if os.environ.get("CRUMBWISE_LARGE") else 150
ALLOWED = 0.015 if TRIALS >= 2000 else 0.05
SODA = Factor(name="soda", kind="amount", unit="%")
ACID = Factor(name="acid", kind="category", levels=("lemon juice", "yogurt"))
RISE = Response(name="rise", unit="mm")
TRUTH = {("soda",): 3.0, ("acid",): 1.2}  # from the lowest to the highest soda; yogurt less lemon juice


@dataclass(frozen=True)
class Design:
    """``table`` without readings; ``noise(chance)`` draws the scatter of each row in SD 1."""

    table: pd.DataFrame
    noise: Callable[[np.random.Generator], np.ndarray]
    question: dict[str, object]


def _rows(times: int) -> pd.DataFrame:
    rows = [(soda, acid) for soda, acid in product((0.5, 1.0, 2.0), ACID.levels)] * times
    return pd.DataFrame(rows, columns=["soda", "acid"])


def _plain(table: pd.DataFrame, **question: object) -> Design:
    return Design(table, lambda chance: chance.normal(size=len(table)), question)


def _shared(table: pd.DataFrame, groups: dict[str, float], **question: object) -> Design:
    """Rows of one group share an error; ``groups``: column -> its SD."""
    codes = {name: table[name].factorize()[0] for name in groups}

    def noise(chance: np.random.Generator) -> np.ndarray:
        scatter = chance.normal(size=len(table))
        for name, code in codes.items():
            scatter += groups[name] * chance.normal(size=code.max() + 1)[code]
        return scatter

    return Design(table, noise, question)


def _split_plot(keep: Callable[[pd.DataFrame], pd.Series] | None = None) -> Design:
    """Soda set for a whole batch (12 of them), the acid within it, each twice."""
    rows = [(f"b{batch}", (0.5, 2.0)[batch % 2], acid) for batch in range(12) for acid in ACID.levels * 2]
    table = pd.DataFrame(rows, columns=["batch", "soda", "acid"])
    if keep is not None:
        table = table[keep(table)].reset_index(drop=True)
    return _shared(table, {"batch": 1.0}, group=("batch",))


def _designs() -> dict[str, Design]:
    balanced = _rows(3)
    uneven = pd.concat([_rows(2), _rows(1).iloc[[0, 0, 3, 5]]], ignore_index=True)
    blocked = pd.concat([_rows(1).assign(day=day) for day in ("Mon", "Tue", "Wed")], ignore_index=True)
    pieces = _rows(3).assign(bake=[f"k{at}" for at in range(18)])
    pieces = pieces.loc[np.repeat(np.arange(18), 4)].reset_index(drop=True)
    return {
        "balanced": _plain(balanced),
        "unbalanced": _plain(uneven),
        "blocked": _shared(blocked, {"day": 2.0}, blocks=("day",)),
        "split-plot": _split_plot(),
        "split-plot with lost bakes": _split_plot(lambda table: ~table.index.isin([1, 6, 7, 18, 29, 30, 41])),
        "nested readings": _shared(pieces, {"bake": 1.5}, bake="bake"),
    }


DESIGNS = _designs()


def _answer(design: Design, rise: np.ndarray):
    question = Question(factors=(SODA, ACID), responses=(RISE,), order=1, kind="factors", **design.question)
    table = design.table.assign(rise=rise)
    return factor_model(bake_table(table, RISE, question).bakes, RISE, question)


def _signal(table: pd.DataFrame) -> np.ndarray:
    span = table["soda"].max() - table["soda"].min()
    return (TRUTH[("soda",)] / span * table["soda"] + TRUTH[("acid",)] * (table["acid"] == "yogurt")).to_numpy()


@pytest.mark.parametrize("name", DESIGNS)
def test_false_alarms_and_coverage(name):
    design = DESIGNS[name]
    chance = np.random.Generator(np.random.PCG64(20261125))
    alarms: dict[str, list[bool]] = {}
    held: dict[tuple[str, ...], list[bool]] = {}
    for _ in range(TRIALS):
        noise = design.noise(chance)
        for test in _answer(design, noise).tests:
            if test.term in ("soda", "acid"):
                alarms.setdefault(test.term, []).append(test.p is not None and test.p < 0.05)
        for finding in _answer(design, 40 + _signal(design.table) + noise).evidence:
            sign = -1.0 if finding.facts.get("to") == "lemon juice" else 1.0
            ends = sorted((sign * finding.low, sign * finding.high))
            held.setdefault(finding.variables, []).append(ends[0] <= TRUTH[finding.variables] <= ends[1])
    assert {term: len(seen) for term, seen in alarms.items()} == {"soda": TRIALS, "acid": TRIALS}
    for term, seen in alarms.items():
        assert abs(np.mean(seen) - 0.05) <= ALLOWED, (term, np.mean(seen))
    for variables, seen in held.items():
        assert abs(np.mean(seen) - 0.95) <= ALLOWED, (variables, np.mean(seen))
