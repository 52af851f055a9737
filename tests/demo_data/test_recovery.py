"""Does the analysis find the truth of the invented kitchen again, with noise it has not seen?

A few seeds run with every test; ``CRUMBWISE_LARGE=1 pytest -s tests/demo_data/test_recovery.py``
takes 200 and asks for coverage of 92 to 98 % over all kinds of interval (none below 88 %)
and headlines that are right in 90 %.
"""

import os
from collections import Counter
from functools import cache
from statistics import fmean

import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.results import ResponseResult
from demo_data.generate import ToBake, day_deviations, draw
from demo_data.truth import expected, plan_text, smallest_good_enough, truth
from tracker.intake.plan_file import read_plan
from tracker.workflow.planning import preview_plan

LARGE = bool(os.environ.get("CRUMBWISE_LARGE"))
SEEDS = range(5000, 5200) if LARGE else range(5000, 5010)
RESPONSES = {
    "soda": ("rise height", "crumb pH"),
    "powder": ("rise height",),
    "screening": ("rise height", "spread ratio"),
    "autumn": ("rise height",),
}

KINDS = {
    "best soda",
    "recommended soda",
    "soda at pH 7.2",
    "least soda near pH 7.2",
    "soda on rise height",
    "soda on crumb pH",
    "acid source on rise height",
    "acid source on crumb pH",
    "best soda in autumn",
    "recommended soda in autumn",
    "soda in autumn on rise height",
    "acid source in autumn on rise height",
    "recommended powder",
    "powder on rise height",
    "screened effects on rise height",
    "screened effects on spread ratio",
}


def question_of(key: str) -> Question:
    plan = read_plan(plan_text(key))
    return Question(
        factors=tuple(Factor(name=f.name, kind=f.kind, unit=f.unit, levels=tuple(f.level_names)) for f in plan.factors),
        responses=tuple(
            Response(name=r.name, unit=r.unit, goal=r.goal, target=r.target, matters=r.matters)
            for r in plan.responses
            if r.name in RESPONSES[key]
        ),
        blocks=("day",) if plan.design.block else (),
        bake="bake",
        confidence=0.95,
    )


@cache
def runs_of(key: str):
    return preview_plan(plan_text(key), name="x").plan.runs


def bakes_of(key: str) -> list[ToBake]:
    return [ToBake(code=run.code, day=run.block, settings=run.settings) for run in runs_of(key)]


def answer(key: str, seed: int):
    runs, bakes = runs_of(key), bakes_of(key)
    tables = {}
    for response in RESPONSES[key]:
        settings = {bake.code: {"day": bake.day, **bake.settings} for bake in bakes}
        order = {run.code: run.bake_order for run in runs}
        rows = [
            {"bake": d.code, "bake_order": order[d.code], "piece": d.piece or 0, **settings[d.code], response: d.value}
            for d in draw(key, response, bakes, seed)
        ]
        table = pd.DataFrame(rows)
        tables[response] = table.drop(columns="day") if table["day"].isna().all() else table
    return analyse(tables, question_of(key))


class Score:
    """How often did an interval hold the truth, and a headline say it?"""

    def __init__(self):
        self.held, self.asked, self.right, self.told = Counter(), Counter(), Counter(), Counter()

    def interval(self, kind, low, value, high):
        self.asked[kind] += 1
        self.held[kind] += low is not None and high is not None and low <= value <= high

    def headline(self, kind, right):
        self.told[kind] += 1
        self.right[kind] += bool(right)


def score_sizes(score: Score, key: str, result: ResponseResult) -> None:
    """Each finding of kind "effect" against the true difference between the two settings it names."""
    for found in result.findings:
        if found.kind == "effect":
            (name,), at = found.variables, found.facts.get("at", {})
            base = {"soda": 1.5, "acid source": "vinegar", "powder": 3.0, **at}
            start, end = ({**base, name: found.facts[side]} for side in ("from", "to"))
            true = expected(key, found.response, end) - expected(key, found.response, start)
            season = " in autumn" if key == "autumn" else ""
            score.interval(f"{name}{season} on {found.response}", found.low, true, found.high)


def score_soda(score: Score, seed: int) -> None:
    rise, ph = answer("soda", seed).responses
    part = truth()["soda"]["rise_height"]
    enough = smallest_good_enough("soda", 3.0)
    for curve in rise.family.dose.curves:
        if curve.optimum is not None:
            score.interval("best soda", curve.optimum.low, part["best"], curve.optimum.high)
        score.interval("recommended soda", curve.recommended.low, enough, curve.recommended.high)
    mean_day = fmean(day_deviations("soda", "crumb pH", bakes_of("soda"), seed).values())
    middle = truth()["soda"]["crumb_pH"]
    for curve in ph.family.dose.curves:
        # Fixed blocks speak of the days that were baked: their own average belongs to the truth.
        lifted = middle["at_middle"] + middle["shift"][curve.level] + mean_day
        dose = 1.5 + (7.2 - lifted) / middle["slope"]
        if curve.optimum is not None:
            score.interval("soda at pH 7.2", curve.optimum.low, dose, curve.optimum.high)
        near = dose - 0.2 / middle["slope"]
        score.interval("least soda near pH 7.2", curve.recommended.low, near, curve.recommended.high)
    for result in (rise, ph):
        score_sizes(score, "soda", result)
    effect = next(f for f in rise.findings if f.kind == "effect" and f.variables == ("soda",))
    score.headline("soda rises and falls", effect.direction == "hump" and effect.matters == "yes")
    score.headline(
        "best soda inside", all(c.optimum and abs(c.optimum.dose - 1.7) < 0.35 for c in rise.family.dose.curves)
    )


def score_autumn(score: Score, seed: int) -> None:
    (rise,) = answer("autumn", seed).responses
    part = truth()["autumn"]["rise_height"]
    for curve in rise.family.dose.curves:
        if curve.optimum is not None:
            score.interval("best soda in autumn", curve.optimum.low, part["best"], curve.optimum.high)
        enough = smallest_good_enough("autumn", 3.0)
        score.interval("recommended soda in autumn", curve.recommended.low, enough, curve.recommended.high)
    score_sizes(score, "autumn", rise)
    effect = next(f for f in rise.findings if f.kind == "effect" and f.variables == ("soda",))
    score.headline("soda rises and falls in autumn too", effect.direction == "hump" and effect.matters == "yes")


def score_powder(score: Score, seed: int) -> None:
    (rise,) = answer("powder", seed).responses
    enough = smallest_good_enough("powder", 2.0)
    (curve,) = rise.family.dose.curves
    score.interval("recommended powder", curve.recommended.low, enough, curve.recommended.high)
    score_sizes(score, "powder", rise)
    score.headline("powder to use", abs(curve.recommended.dose - enough) < 0.6)


def score_screening(score: Score, seed: int) -> None:
    for result in answer("screening", seed).responses:
        name = result.response.name
        effects = truth()["screening"][name.replace(" ", "_")]["effects"]
        for effect in result.family.effects:
            score.interval(f"screened effects on {name}", effect.low, effects.get(effect.term, 0.0), effect.high)
        real = {tuple(term.split(":")) for term, size in effects.items() if abs(size) > result.response.matters / 2}
        matter = {found.variables for found in result.findings if found.matters == "yes"}
        score.headline(f"what moves the cookie's {name}", real <= matter)
        score.headline(f"nothing else moves the cookie's {name}", matter <= real)


@pytest.fixture(scope="module")
def score():
    found = Score()
    for seed in SEEDS:
        score_soda(found, seed)
        score_powder(found, seed)
        score_screening(found, seed)
        score_autumn(found, seed)
    for kind in found.asked:
        print(f"{kind}: {found.held[kind]} of {found.asked[kind]} intervals hold the truth")
    for kind in found.told:
        print(f"{kind}: {found.right[kind]} of {found.told[kind]} headlines right")
    return found


def test_intervals_hold_the_truth(score):
    assert set(score.asked) == KINDS  # an interval that is no longer given must not go unnoticed
    # Each kind counts the same: the many screened effects must not hide a kind that misses.
    share = fmean(score.held[kind] / asked for kind, asked in score.asked.items())
    low, high = (0.92, 0.98) if LARGE else (0.88, 1.0)
    assert low <= share <= high
    for kind, asked in score.asked.items():
        # "powder on rise height" is the weakest, 89 % of 200: its size is read off the one shape that fits
        # best and its interval does not carry the doubt about the shape, as that of a recommended dose does.
        assert score.held[kind] >= (0.88 if LARGE else 0.75) * asked, kind


def test_headlines_are_right(score):
    for kind, told in score.told.items():
        assert score.right[kind] >= (0.90 if LARGE else 0.7) * told, kind


def test_the_truth_is_what_the_readings_come_from():
    """The recovery would mean nothing if the generator used another truth."""
    low = {"powder": 1.0}
    assert expected("powder", "rise height", {"powder": 5.5}) - expected("powder", "rise height", low) == 5.0 * 3.2
