"""What is open leads to treatments that can be mixed as they stand."""

from itertools import product

import numpy as np
import pandas as pd
import pytest

from analysis.dose_results import Candidate, Curve, DosePart, Optimum, Recommended
from analysis.engine import analyse
from analysis.estimates import Interval
from analysis.next_bakes import next_bakes
from analysis.questions import Factor, Question, Response
from analysis.results import BakePoint, FamilyResult, Finding, ModelNote, ResponseResult
from analysis.words import say_next

SODA = Factor(name="soda", kind="amount", unit="% flour")
RISE = Response(name="rise", unit="mm", matters=2.0, goal="maximise")
QUESTION = Question(factors=(SODA,), responses=(RISE,))


def effect(low: float, high: float, matters: str = "unsure", **facts) -> Finding:
    return Finding(
        kind="effect",
        response="rise",
        variables=("soda",),
        size=(low + high) / 2,
        low=low,
        high=high,
        unit="mm",
        direction="up",
        matters=matters,
        facts=facts,
    )


def points(levels, bakes: int = 2) -> tuple[BakePoint, ...]:
    return tuple(
        BakePoint(
            bake=f"{level}-{at}",
            order=at,
            settings={"soda": level},
            block=None,
            observed=level,
            fitted=level,
            residual=0.0,
            readings=1,
        )
        for level, at in product(levels, range(bakes))
    )


def result(finding: Finding, *, levels=(0.5, 2.5), response=RISE, dose=None, bakes: int = 2) -> ResponseResult:
    baked = points(levels, bakes)
    return ResponseResult(
        response=response,
        n_bakes=len(baked),
        n_readings=len(baked),
        family=FamilyResult(model=ModelNote(kind="factors", terms=("soda",)), points=baked, dose=dose),
        findings=(finding,),
        next_bakes=(),
        checks=(),
    )


def by_reason(made: ResponseResult, question: Question = QUESTION) -> dict:
    return {bakes.why: bakes for bakes in next_bakes(made, question)}


def test_a_wide_interval_asks_for_bakes_by_the_square_of_its_width():
    # Half-width 4 against 2 that matter: four times the 8 bakes, so 24 more, 12 of each treatment.
    open_ = by_reason(result(effect(-3, 5, **{"from": "0.5", "to": "2.5"}), bakes=4))["more bakes"]
    assert open_.facts["more"] == 24
    assert open_.facts["each"] == 12
    assert open_.treatments == ({"soda": 0.5}, {"soda": 2.5})


def test_an_interval_that_straddles_the_limit_has_to_come_down_to_the_distance_from_it():
    open_ = by_reason(result(effect(1.5, 4.5)))["more bakes"]  # 3 mm, half-width 1.5, limit 2: distance 1
    assert open_.facts["aim"] == pytest.approx(1.0)
    assert open_.facts["more"] == 6  # 4 bakes times 2.25 makes 9; rounded up to 3 of each of 2 treatments


def test_hopeless_numbers_of_bakes_are_not_advised():
    hopeless = by_reason(result(effect(-40, 40)))["more bakes"]
    assert hopeless.facts["more"] is None
    assert hopeless.treatments == ()


def test_without_a_difference_that_matters_it_asks_for_one():
    plain = Response(name="rise", unit="mm")
    assert "say what matters" in by_reason(result(effect(-4, 4.2), response=plain))


def test_a_decided_result_asks_for_no_more_bakes():
    assert "more bakes" not in by_reason(result(effect(5, 7, "yes")))


def test_an_amount_at_two_levels_that_matters_asks_for_one_between():
    between = by_reason(result(effect(5, 7, "yes")))["level between"]
    assert between.treatments == ({"soda": 1.5},)


def dose(*, edge=None, weights=(0.95, 0.05), optimum=True) -> DosePart:
    best = Optimum(dose=1.6, low=1.4, high=1.8, response=50.0)
    recommended = Recommended(dose=1.4, low=1.2, high=1.6, response=49.0, as_good_to=1.9, within=2.0, edge=edge)
    parameters = {"best": Interval(estimate=1.6)}
    curve = Curve(
        level=None,
        parameters=parameters,
        optimum=best if optimum else None,
        recommended=recommended,
        effective=(),
        points=(),
    )
    candidates = tuple(
        Candidate(shape=f"shape {at}", aicc=1.0, weight=weight, parameters=parameters, rss=1.0, df=3)
        for at, weight in enumerate(weights)
    )
    return DosePart(
        dose="soda", by=None, shape="shape 0", curves=(curve,), candidates=candidates, lack_of_fit=None, edge=edge
    )


def test_a_best_at_the_high_edge_asks_for_one_step_further():
    further = by_reason(result(effect(5, 7, "yes"), levels=(0.5, 1, 2), dose=dose(edge="high")))["extend the range"]
    assert further.treatments == ({"soda": 3.0},)


def test_a_best_at_the_low_edge_never_asks_for_less_than_nothing():
    further = by_reason(result(effect(5, 7, "yes"), levels=(0.5, 2, 3), dose=dose(edge="low")))["extend the range"]
    assert further.treatments == ({"soda": 0.25},)
    none = by_reason(result(effect(5, 7, "yes"), levels=(0.0, 2, 3), dose=dose(edge="low")))
    assert "extend the range" not in none


def test_an_undecided_shape_asks_for_a_dose_in_the_widest_gap_near_the_turn():
    undecided = result(effect(5, 7, "yes"), levels=(0, 1, 2, 3), dose=dose(weights=(0.6, 0.4)))
    assert by_reason(undecided)["dose between"].treatments == ({"soda": 1.5},)
    settled = result(effect(5, 7, "yes"), levels=(0, 1, 2, 3), dose=dose())
    assert "dose between" not in by_reason(settled)


def test_a_best_dose_that_was_not_baked_is_baked_first():
    turned = dose()
    first = next_bakes(result(effect(5, 7, "yes"), levels=(0, 1, 2, 3), dose=turned), QUESTION)[0]
    assert first.why == "bake the best doses"
    assert first.treatments == ({"soda": turned.curves[0].optimum.dose},)
    assert "not baked yet" in say_next(first)


def test_when_nothing_is_open_the_choice_is_baked_again():
    confirmed = by_reason(result(effect(5, 7, "yes"), levels=(0, 1, 2, 3), dose=dose(optimum=False)))
    assert confirmed["confirm"].treatments == ({"soda": 1.4},)


def fraction() -> tuple[pd.DataFrame, Question]:
    """Half of a 2^3, c = ab: each effect has a two-factor alias."""
    rows = [(a, b, a * b) for a, b in product([-1, 1], repeat=2)] * 2
    frame = pd.DataFrame(rows, columns=["a", "b", "c"], dtype=float)
    frame["rise"] = 40 + 10 * frame["a"] + np.random.default_rng(4).normal(0, 0.5, len(frame))
    factors = tuple(Factor(name=name, kind="amount") for name in "abc")
    return frame, Question(factors=factors, responses=(RISE,))


def test_aliases_are_parted_by_treatments_never_baked():
    frame, question = fraction()
    answered = analyse(frame, question).responses[0]
    parting = {bakes.why: bakes for bakes in answered.next_bakes}["break aliases"]
    assert parting.facts["terms"] == ("a", "b:c")
    baked = {tuple(row) for row in frame[["a", "b", "c"]].to_numpy().tolist()}
    assert len(parting.treatments) == 2
    for treatment in parting.treatments:
        assert tuple(treatment.values()) not in baked
        # In every bake a = bc; here a = -bc.
        assert treatment["a"] == -treatment["b"] * treatment["c"]


def test_a_design_baked_once_is_to_be_replicated_at_its_corners():
    rows = list(product([0.5, 2.5], [170.0, 190.0], [5.0, 30.0], [1.0, 2.0]))
    frame = pd.DataFrame(rows, columns=["soda", "oven", "rest", "sugar"])
    frame["rise"] = 40 + 6 * frame["soda"] + np.random.default_rng(4).normal(0, 0.5, len(frame))
    factors = tuple(Factor(name=name, kind="amount") for name in ("soda", "oven", "rest", "sugar"))
    answered = analyse(frame, Question(factors=factors, responses=(RISE,))).responses[0]
    again = {bakes.why: bakes for bakes in answered.next_bakes}["replicate"]
    assert {treatment["soda"] for treatment in again.treatments} == {0.5, 2.5}
    assert all(tuple(treatment.values()) in rows for treatment in again.treatments)


def test_cells_never_baked_are_named():
    frame = pd.DataFrame(
        [(s, a) for s in ("low", "high") for a in ("x", "y", "z") if (s, a) != ("high", "z")] * 3,
        columns=["soda", "acid"],
    )
    frame["rise"] = np.random.default_rng(1).normal(40, 1, len(frame))
    factors = (Factor(name="soda", kind="category"), Factor(name="acid", kind="category"))
    answered = analyse(frame, Question(factors=factors, responses=(RISE,))).responses[0]
    cells = {bakes.why: bakes for bakes in answered.next_bakes}["fill empty cells"]
    assert cells.treatments == ({"soda": "high", "acid": "z"},)


def test_an_interaction_asks_for_the_best_of_each_level(answered):
    _, analysis = next(pair for pair in answered if pair[0].name == "soda depends on acid")
    joint = {bakes.why: bakes for bakes in analysis.responses[0].next_bakes}["interaction"]
    assert [one["acid source"] for one in joint.treatments] == ["lemon juice", "yogurt", "cream of tartar"]
    assert all(one["soda"] == 2.5 for one in joint.treatments)


def dose_between(seed: int) -> float | None:
    """The dose asked for after six doses of a plateau that begins at 0.9 of 4; the widest gap lies where it is flat."""
    doses = [0.0, 0.4, 0.8, 1.2, 2.6, 4.0] * 2
    noise = np.random.Generator(np.random.PCG64(seed)).normal(0, 0.9, len(doses))
    table = pd.DataFrame({"soda": doses, "rise": [30 + 8 * min(d, 0.9) for d in doses] + noise})
    answer = analyse(table, Question(factors=(SODA,), responses=(RISE,), kind="dose")).responses[0]
    found = by_reason(answer).get("dose between")
    return None if found is None else float(found.treatments[0]["soda"])


def test_the_dose_between_lies_where_plausible_curves_part():
    """Not in the widest gap, where these curves are flat and agree."""
    asked = [dose for seed in range(8) if (dose := dose_between(seed)) is not None]
    assert len(asked) >= 4
    assert all(0 < dose < 1.2 for dose in asked)
