"""Do readings of a panel count as readings, and is it said when not everybody scored everything?"""

from __future__ import annotations

from statistics import mean

import pandas as pd
import pytest

from tracker.workflow.analysing import analyse_trial
from tracker.workflow.planning import plan_trial
from tracker.workflow.recording import record_run
from tracker.workflow.tasting_answers import Said, agree, answer
from tracker.workflow.tasting_samples import next_sample
from tracker.workflow.tasting_setup import WhoTastes, set_up_tasting
from tracker.workflow.tastings import close_tasting, serving_sheet
from tracker.workflow.trials import show_trial
from tracker.workflow.who_scored import gaps_of_the_panel

PLAN = """
title = "Fat tasted"
name = "fat"
[[factor]]
name = "fat"
kind = "category"
levels = ["butter", "oil"]
[[response]]
name = "liking"
scale = "score"
anchors = ["1", "2", "3", "4", "5", "6", "7", "8", "9"]
matters = 0.5
[design]
kind = "full factorial"
replicates = 3
seed = 11
"""


def scores(**given):
    """``A="1 2 -"``: what assessor A gave the first, second and third bake."""
    return pd.DataFrame(
        [
            {"bake": f"10{at}", "response": "liking", "score": float(value), "person": person}
            for person, values in given.items()
            for at, value in enumerate(values.split(), start=1)
            if value != "-"
        ]
    )


@pytest.mark.parametrize(
    ("given", "leans"),
    [
        # B gives two more than A. Bake 1 has mean 4 by both; bake 2 has 3 by A alone, and would have 4.
        ({"A": "3 3", "B": "5 -"}, 1),
        # C gives three more than A and B do and misses bakes 2 and 3, whose means are 1 too low beside that of bake 1.
        ({"A": "1 2 5", "B": "1 2 5", "C": "4 - -"}, 1),
        ({"A": "3 4", "B": "3 -"}, 0),  # no assessor is more generous
    ],
)
def test_how_far_a_mean_leans_on_who_scored_it_is_as_by_hand(given, leans):
    (told,) = gaps_of_the_panel(scores(**given), ["liking"])
    assert told.endswith(f"differ by up to {leans}.")


def test_nothing_is_said_where_nothing_leans():
    assert gaps_of_the_panel(scores(A="1 2 3", B="2 3 4"), ["liking"]) == ()
    assert gaps_of_the_panel(scores(A="1 2 -"), ["liking"]) == ()  # not a panel
    assert gaps_of_the_panel(scores(A="1 - 3", B="- 2 -"), ["liking"]) == ()  # each bake by somebody of its own
    assert gaps_of_the_panel(scores(A="1 2 -", B="2 3 -", C="4 - -"), ["sweetness"]) == ()


def test_halves_that_share_no_bake_cannot_be_held_against_each_other():
    (told,) = gaps_of_the_panel(scores(A="1 2 - -", B="1 2 - -", C="- - 5 6"), ["liking"])
    assert "A: 2, B: 2 and C: 2" in told
    assert told.endswith("leans on who scored it.")


@pytest.mark.parametrize("last", [6, 3])
def test_bakes_count_and_not_those_who_scored_them(soda_anywhere, last):
    """Six bakes and four assessors, one of whom may stop after three: a t test of six means, done by hand."""
    store = soda_anywhere
    plan_trial(store, PLAN)
    runs = show_trial(store, "fat").to_json()["runs"]
    codes = [run["code"] for run in runs]
    for code in codes:
        record_run(store, "fat", code)
    number = set_up_tasting(
        store, "fat", runs=codes, responses=[1], who=WhoTastes(nameless=4), allergens="milk", by=1, rest_s=0, seed=5
    ).number
    sheet = serving_sheet(store, number, person=1)
    people = sorted({each.person for each in sheet})
    given: dict[str, list[int]] = {}
    for at, person in enumerate(people):
        agree(store, number, person, agrees=True, eats_all=True)
        for _ in range(last if person == people[-1] else 6):
            sample = next_sample(store, number, person).code
            run = next(each.run for each in sheet if (each.person, each.code) == (person, sample))
            score = 3 + codes.index(run) % 4 + (0, 1, -1, 2)[at]
            answer(store, number, person, sample, Said(values={1: str(score)}))
            given.setdefault(run, []).append(score)
    close_tasting(store, number, reason="done", by=1)
    answered = analyse_trial(store, "fat")
    (result,) = answered.to_json()["responses"]
    groups = [
        [mean(given[run["code"]]) for run in runs if run["settings"]["fat"]["value"] == fat]
        for fat in ("butter", "oil")
    ]
    within = sum((value - mean(group)) ** 2 for group in groups for value in group)
    assert (result["n_bakes"], result["n_readings"], result["residual"]["df"]) == (6, 18 + last, 4)
    assert result["comparisons"][0]["difference"] == pytest.approx(mean(groups[0]) - mean(groups[1]))
    assert result["residual"]["sum_sq"] == pytest.approx(within)
    assert result["comparisons"][0]["se"] == pytest.approx((within / 4 * 2 / 3) ** 0.5)
    told = [words for words in answered.remarks if "leans on who scored it" in words]
    assert len(told) == (last == 3)
    assert all(f"{people[-1]}: 3" in words for words in told)
