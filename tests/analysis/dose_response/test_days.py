"""Days taken as drawn by chance: the same as fixed blocks where every day has every dose."""

import os
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.dose_response.curves import fit_shape
from analysis.dose_response.days import variances
from analysis.dose_response.layout import read_layout
from analysis.dose_response.settling import settle
from analysis.dose_response.shapes import SHAPES
from analysis.dose_response.variances import best_ratios, levels_of
from analysis.engine import analyse
from analysis.mixed.profile import profile_interval
from analysis.mixed.reml import fit_reml
from analysis.mixed.terms import RandomTerm
from analysis.questions import Factor, Question, Response

RISE = Response(name="rise", unit="mm", goal="maximise")
DOSES = np.array([0.5, 1.0, 1.5, 2.0, 2.5])


def asked(**given) -> Question:
    given.setdefault("shape", "quadratic")
    given.setdefault("responses", (RISE,))
    return Question(factors=(Factor(name="dose", kind="amount"),), kind="dose", **given)


def bakes(seed: int, *, days: int = 6, between: float = 2.0, within: float = 1.5) -> pd.DataFrame:
    rng = np.random.Generator(np.random.PCG64([seed, 31]))
    dose, day = np.tile(DOSES, days), np.repeat(np.arange(days), DOSES.size)
    rise = 60 - 8 * (dose - 1.6) ** 2 + rng.normal(0, between, days)[day] + rng.normal(0, within, dose.size)
    return pd.DataFrame({"dose": dose, "day": [f"d{d}" for d in day], "rise": rise})


def family_of(table, **given):
    return analyse(table, asked(**given)).responses[0].family


def test_with_every_dose_on_every_day_random_and_fixed_days_agree():
    table = bakes(3)
    random, fixed = family_of(table, group=("day",)), family_of(table, blocks=("day",))
    a, b = random.dose.curves[0], fixed.dose.curves[0]
    for one, other in (
        (a.optimum.dose, b.optimum.dose),
        (a.optimum.low, b.optimum.low),
        (a.optimum.high, b.optimum.high),
    ):
        assert one == pytest.approx(other, rel=1e-8)
    for name in ("slope", "curvature"):
        assert a.parameters[name].estimate == pytest.approx(b.parameters[name].estimate, rel=1e-8)
        assert a.parameters[name].se == pytest.approx(b.parameters[name].se, rel=1e-7)
        assert a.parameters[name].low == pytest.approx(b.parameters[name].low, rel=1e-7)
    assert random.residual.df == fixed.residual.df
    assert random.residual.sd == pytest.approx(fixed.residual.sd, rel=1e-7)
    assert random.dose.lack_of_fit.value == pytest.approx(fixed.dose.lack_of_fit.value, rel=1e-6)
    # The height stands for days at large, so that its interval is wider.
    assert a.optimum.response_high - a.optimum.response_low > 1.2 * (b.optimum.response_high - b.optimum.response_low)


def test_the_variances_are_those_of_the_mean_squares():
    """Balanced: between days (MS_days - MS_within) / bakes of a day."""
    table = bakes(4)
    family = family_of(table, group=("day",))
    x = np.column_stack([np.ones(30), table["dose"], table["dose"] ** 2])
    y = table["rise"].to_numpy()
    means = table.groupby("day", sort=False)["rise"].mean().to_numpy()
    between = 5 * means.var(ddof=1)
    rest = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
    within = (rest @ rest - 5 * means.var(ddof=0) * 6) / (30 - 3 - 5)
    day, residual = family.variances
    assert residual.variance == pytest.approx(within, rel=1e-7)
    assert day.variance == pytest.approx((between - within) / 5, rel=1e-6)


def test_two_days_are_taken_out_as_blocks_and_that_is_said():
    family = family_of(bakes(5, days=2), group=("day",))
    assert family.variances == ()
    assert "taken out as blocks" in family.reasons["group day"]


def test_days_that_do_not_differ_are_said_to():
    table = bakes(6, between=0.0)
    table["rise"] -= table.groupby("day")["rise"].transform("mean") - 50  # all days have one mean
    family = family_of(table, group=("day",))
    assert family.variances[0].boundary
    assert family.variances[0].variance == 0
    assert "no scatter between groups" in {check.check for check in family.checks}


def test_crossed_groups_each_have_their_variance():
    table = bakes(7)
    table["oven"] = [f"o{(i * 7 + i // 5) % 4}" for i in range(len(table))]
    family = family_of(table, group=("day",), crossed=(("oven",),))
    assert [one.group for one in family.variances] == ["day", "oven", "residual"]
    assert family.model.groups == ("day", "oven")


def test_shuffled_rows_renamed_days_and_another_unit_change_nothing():
    table = bakes(8).drop(index=[2, 9, 16, 17]).reset_index(drop=True)
    first = family_of(table, group=("day",))
    shuffled = table.sample(frac=1, random_state=1).reset_index(drop=True)
    renamed = shuffled.assign(day=shuffled["day"].map(lambda day: f"x{9 - int(day[1:])}"))
    again = family_of(renamed.assign(dose=renamed["dose"] * 1000), group=("day",))
    assert again.dose.curves[0].optimum.dose == pytest.approx(1000 * first.dose.curves[0].optimum.dose, rel=1e-7)
    assert again.dose.curves[0].optimum.low == pytest.approx(1000 * first.dose.curves[0].optimum.low, rel=1e-7)
    assert [v.variance for v in again.variances] == pytest.approx([v.variance for v in first.variances], rel=1e-6)


def test_doubled_weights_change_nothing():
    table = bakes(9).assign(pieces=np.tile([1, 2, 3], 10))
    one = family_of(table, weights="pieces").dose.curves[0].optimum
    two = family_of(table.assign(pieces=table["pieces"] * 2), weights="pieces").dose.curves[0].optimum
    assert two.low == pytest.approx(one.low, rel=1e-9)
    assert two.dose == pytest.approx(one.dose, rel=1e-9)


def test_equal_spread_is_kept_where_nothing_speaks_against_it():
    family = family_of(bakes(10), unequal_spread=True, group=("day",))
    [part] = [part for part in family.parts if part.key == "dose_spread"]
    assert part.kind == "equal"
    assert part.p > 0.05


def test_a_flat_response_recommends_nothing():
    rng = np.random.Generator(np.random.PCG64(6))
    table = bakes(1).assign(rise=40 + rng.normal(0, 1, 30))
    answer = analyse(table, asked(shape=None, group=("day",))).responses[0]
    assert answer.family.dose.shape == "flat"
    assert answer.family.dose.curves[0].recommended is None
    assert "none is recommended" in answer.family.reasons["recommended"]


def test_the_averaged_dose_carries_all_plausible_shapes():
    family = family_of(bakes(3), shape=None, group=("day",))
    [averaged] = family.dose.averaged
    assert sum(averaged.shapes.values()) == pytest.approx(1)
    assert len(averaged.shapes) > 1
    assert averaged.low <= averaged.dose <= averaged.high
    assert averaged.best_low <= 1.6 <= averaged.best_high
    weights = {one.shape: one.weight for one in family.dose.candidates}
    assert averaged.shapes["quadratic"] == pytest.approx(weights["quadratic"], abs=0.02)


def test_the_predictor_agrees_with_the_curve_and_its_draws_with_its_error():
    family = family_of(bakes(3), group=("day",))
    predictor = family.predictor
    settings = pd.DataFrame({"dose": [0.5, 1.6, 2.5]})
    assert predictor.spans["dose"].baked == tuple(DOSES)
    points = {point.dose: point.mean for point in family.dose.curves[0].points}
    assert predictor.mean(settings)[[0, 2]] == pytest.approx([points[0.5], points[2.5]])
    drawn = predictor.draws(settings, count=4000, seed=3)
    assert drawn.shape == (4000, 3)
    assert drawn.mean(axis=0) == pytest.approx(predictor.mean(settings), abs=0.15)
    # chi-square draws of the spread add a little: t on 22 df.
    assert drawn.std(axis=0) == pytest.approx(predictor.se(settings) * np.sqrt(22 / 20), rel=0.06)


def test_shares_of_the_way_that_were_asked_for():
    family = family_of(bakes(3), group=("day",), effective=(0.8,))
    assert [one.fraction for one in family.dose.curves[0].effective] == [0.1, 0.5, 0.8, 0.9]
    line = family_of(bakes(3), group=("day",), effective=(0.8,), shape="line")
    assert line.dose.curves[0].effective[2].dose is None
    assert "no final response" in line.reasons["effective"]


def test_the_spread_between_days_has_its_profile_interval():
    """A quadratic is its own tangent: the limits are those of the linear mixed model."""
    table = bakes(4)
    day, _ = family_of(table, group=("day",)).variances
    x = np.column_stack([np.ones(30), table["dose"], table["dose"] ** 2])
    codes = np.repeat(np.arange(6), 5)
    mixed = fit_reml(table["rise"].to_numpy(), x, [RandomTerm(name="day", codes=codes)])
    assert (day.low, day.high) == pytest.approx(profile_interval(mixed, "day"), rel=1e-4)
    assert 0 <= day.low < day.variance < day.high
    curved = family_of(table, group=("day",), shape="hump").variances[0]
    assert curved.low < curved.variance < curved.high


def test_a_spread_without_limits_says_why():
    family = family_of(bakes(4), group=("day",), shape="smooth")
    assert family.variances[0].low is None
    assert "no formula" in family.reasons["variances day"]
    level = bakes(6, between=0.0)
    level["rise"] -= level.groupby("day")["rise"].transform("mean") - 50
    at_zero = family_of(level, group=("day",)).variances[0]
    assert at_zero.low == 0
    assert at_zero.high > 0


def test_intervals_of_the_spread_between_days_cover_it():
    count = 600 if os.environ.get("CRUMBWISE_LARGE") == "1" else 80
    held = []
    for seed in range(count):
        asking = asked(group=("day",))
        layout = read_layout(bakes(500 + seed, days=8), RISE, asking, dose="dose", by=None)
        errors = best_ratios(layout, *levels_of(layout), None, restricted=True)
        fit = settle(fit_shape(replace(layout, errors=errors), SHAPES["quadratic"]), None)
        day = variances(fit, 0.95)[0][0]
        held.append(day.low <= 4.0 <= day.high)
    print(f"between days: {np.mean(held):.3f} of {count}")
    assert np.mean(held) >= 0.95 - 3 * np.sqrt(0.05 * 0.95 / count)
