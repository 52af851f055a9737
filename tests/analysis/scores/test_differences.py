"""Do differences of shares keep their limits, inside what shares allow and where they should be?"""

from __future__ import annotations

import os

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.scores.asking import fitted
from analysis.scores.evidence import evidence
from analysis.scores.readings import readings_of

LARGE = os.environ.get("CRUMBWISE_LARGE") == "1"
CRACKED = Response(name="cracked", scale="yes-no")
OVEN = Factor(name="oven", kind="category", levels=("fan", "deck"))
FAT = Factor(name="fat", kind="amount")


def question(*factors, **more):
    return Question(
        factors=factors or (OVEN,), responses=(CRACKED,), kind="score", model="main effects", weights="pieces", **more
    )


def tray(deck, of, fan, out_of):
    """One row for each piece: ``deck`` cracked ``of`` so many, ``fan`` cracked ``out_of`` so many."""
    cells = [("deck", 1.0, deck), ("deck", 0.0, of - deck), ("fan", 1.0, fan), ("fan", 0.0, out_of - fan)]
    rows = [(oven, yes, 1.0) for oven, yes, times in cells for _ in range(int(times))]
    return pd.DataFrame(rows, columns=["oven", "cracked", "pieces"])


def limits(table):
    readings = readings_of(table, CRACKED, question())
    found = evidence(fitted(readings, CRACKED, question()), {}, ())[0]
    return found.size, found.low, found.high


# Newcombe 1998, Stat. Med. 17, 873, Table II, method 10: 56/70 against 48/80, and 9/10 against 3/10; the same
# figures from R 4.2.2: prop.test(x, n, correct = FALSE)$conf.int of each share, put together as there.
@pytest.mark.parametrize(
    ("counts", "published"), [((56, 70, 48, 80), (0.0524, 0.3339)), ((9, 10, 3, 10), (0.1705, 0.8090))]
)
def test_limits_are_newcombes(counts, published):
    deck, of, fan, out_of = counts
    size, low, high = limits(tray(*counts))
    assert size == pytest.approx(deck / of - fan / out_of, abs=1e-6)
    assert (low, high) == pytest.approx(published, abs=6e-5)


def test_limits_stay_within_what_shares_allow():
    for counts in ((4, 4, 0, 4), (5, 5, 1, 5), (3, 3, 3, 4)):
        size, low, high = limits(tray(*counts))
        assert -1 < low < size < high < 1
        assert high - size < size - low  # towards the end of the scale there is less room


def test_other_terms_and_interactions_keep_within_the_scale():
    chance = np.random.Generator(np.random.PCG64(4))
    table = pd.DataFrame({"oven": ["fan", "deck"] * 12, "fat": np.repeat([10.0, 20.0, 30.0], 8)})
    table["cracked"] = (chance.random(24) < np.where(table["oven"] == "deck", 0.9, 0.15)).astype(float)
    asked = Question(factors=(OVEN, FAT), responses=(CRACKED,), kind="score", model="interactions")
    result = analyse({"cracked": table}, asked, source="t").responses[0]
    found = [one for one in result.findings if one.low is not None]
    assert {one.kind for one in found} >= {"effect", "interaction"}
    for one in found:
        most = 2 if one.kind == "interaction" else 1
        assert -most <= one.low <= one.size <= one.high <= most


def test_differences_of_shares_cover_the_truth():
    """Counted out over every possible tray, not drawn; symmetric intervals: 93.8 % on average, 91.1 % at worst."""
    of, out_of = (20, 15) if LARGE else (12, 9)
    ends = {
        (deck, fan): limits(tray(deck, of, fan, out_of))[1:]
        for deck in range(of + 1)
        for fan in range(out_of + 1)
        if 0 < deck + fan < of + out_of  # all alike is refused
    }
    grid = np.arange(0.1, 0.91, 0.1)
    covered = {(p, q): _covered(ends, p, q, of, out_of) for p in grid for q in grid}
    print(f"on average {np.mean(list(covered.values())):.3f}, at worst {min(covered.values()):.3f}")
    assert 0.945 <= np.mean(list(covered.values())) <= 0.975
    assert min(covered.values()) >= 0.92


def _covered(ends, p, q, of, out_of):
    chances = {(a, b): binom.pmf(a, of, p) * binom.pmf(b, out_of, q) for a, b in ends}
    inside = sum(chance for at, chance in chances.items() if ends[at][0] <= p - q <= ends[at][1])
    return inside / sum(chances.values())
