"""Do charts of counts keep their promise where counts are few, sizes unequal or days unlike?"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from analysis.control.chance import TAIL, scatter_of, sureness_of_scatter
from analysis.control.charts import chart_batches
from analysis.control.counts import judge_count
from analysis.control.results import CountSeries, Phase
from analysis.errors import NotPossible, TrialDataError


def series(counts, sizes=None, of="pieces"):
    counts = [float(count) for count in counts]
    sizes = [1.0] * len(counts) if sizes is None else [float(size) for size in sizes]
    batches = tuple(f"B{i + 1}" for i in range(len(counts)))
    return CountSeries(response="split crusts", of=of, batches=batches, counts=tuple(counts), sizes=tuple(sizes))


def chart_of(counts, sizes=None, of="pieces", **asked):
    (chart,) = chart_batches(series(counts, sizes, of), kind="counts", **asked)
    return chart


def random(seed):
    return np.random.Generator(np.random.PCG64(seed))


@pytest.mark.parametrize("mean", [0.3, 1, 2.5, 4.9])
def test_exact_limits_go_past_no_more_than_three_standard_deviations_do(mean):
    chart = chart_of(random(1).poisson(mean, 40), of="places", limits="exact")
    rate, upper = chart.limits.centre, chart.limits.upper
    assert "exact limits" in chart.cautions
    assert stats.poisson.sf(upper, rate) <= TAIL < stats.poisson.sf(upper - 1, rate)
    assert chart.more["rules"] == ("outside the limits",)


def test_few_counts_get_exact_limits_and_many_do_not():
    assert "exact limits" in chart_of(random(2).poisson(2, 40), of="places").cautions
    assert "exact limits" not in chart_of(random(2).poisson(7, 40), of="places").cautions
    symmetric = chart_of(random(2).poisson(2, 40), of="places", limits="symmetric")
    assert symmetric.limits.upper == pytest.approx(symmetric.limits.centre + 3 * math.sqrt(symmetric.limits.centre))


def test_exact_shares_have_both_limits_where_chance_allows():
    sizes = [40] * 30
    chart = chart_of(random(3).binomial(40, 0.4, 30), sizes, limits="exact")
    rate = chart.limits.centre
    low, high = round(chart.limits.lower * 40), round(chart.limits.upper * 40)
    assert stats.binom.sf(high, 40, rate) <= TAIL < stats.binom.sf(high - 1, 40, rate)
    assert stats.binom.cdf(low - 1, 40, rate) <= TAIL < stats.binom.cdf(low, 40, rate)


def test_false_alarms_with_known_limits_within_a_tenth_of_a_point():
    rate, sizes = 0.1, np.where(np.arange(25) % 2, 150, 250)
    known = chart_of([15, 25] * 10, [150, 250] * 10, spread="chance").limits
    assert known.centre == pytest.approx(rate)
    x = random(4).binomial(sizes, rate, (10_000, 25))
    judged = {
        n: [judge_count(known, count, n, of="pieces", batch="B").alarms for count in range(80)] for n in (150, 250)
    }
    out = np.mean([np.array([bool(a) for a in judged[n]])[np.minimum(x[:, sizes == n], 79)].mean() for n in (150, 250)])
    theory = np.mean(
        [
            stats.binom.sf(math.floor(n * rate + 3 * math.sqrt(n * rate * (1 - rate))), n, rate)
            + stats.binom.cdf(math.ceil(n * rate - 3 * math.sqrt(n * rate * (1 - rate))) - 1, n, rate)
            for n in (150, 250)
        ]
    )
    assert out == pytest.approx(theory, abs=0.001)
    assert out < 0.005


def test_days_that_differ_by_themselves_get_wider_limits():
    source = random(5)
    shares = source.beta(8, 72, 60)
    counts = source.binomial(800, shares)
    widened = chart_of(counts, [800] * 60)
    plain = chart_of(counts, [800] * 60, spread="chance")
    assert "more scatter than chance" in widened.cautions
    assert "more scatter than chance, not widened" in plain.cautions
    outside = [sum("outside the limits" in p.alarms for p in chart.points) for chart in (plain, widened)]
    assert outside[0] >= 10
    assert outside[1] <= 1
    assert widened.limits.upper - widened.limits.centre == pytest.approx(
        widened.more["factor"] * (plain.limits.upper - plain.limits.centre)
    )


def test_the_caution_about_scatter_is_false_in_about_one_series_of_twenty():
    x = random(6).poisson(20, (4000, 30)).astype(float)
    scatters = np.array([scatter_of(row, np.ones(30), row.mean(), "places") for row in x])
    assert scatters.std() == pytest.approx(sureness_of_scatter(30), rel=0.05)
    assert np.mean(scatters > 1 + 1.645 * sureness_of_scatter(30)) == pytest.approx(0.05, abs=0.015)


def test_counts_too_alike_are_named():
    assert "less scatter than chance" in chart_of([20, 21, 20, 19] * 8, [200] * 32).cautions


def test_areas_in_other_units_give_the_same_alarms():
    counts = [*random(7).poisson(9, 29), 40]
    areas = random(8).uniform(0.8, 1.2, 30)
    metres, feet = chart_of(counts, areas, of="places"), chart_of(counts, areas * 10.764, of="places")
    assert [a.batch for a in metres.alarms] == [a.batch for a in feet.alarms] == ["B30"]
    assert metres.limits.upper == pytest.approx(feet.limits.upper * 10.764)


def test_the_order_of_batches_moves_no_limit_of_chance():
    counts, sizes = random(9).binomial(120, 0.2, 30), [120] * 30
    there, back = chart_of(counts, sizes, spread="chance"), chart_of(counts[::-1], sizes, spread="chance")
    assert there.limits.upper == back.limits.upper
    assert [p.value for p in there.points] == [p.value for p in back.points][::-1]


def test_a_new_batch_is_judged_by_its_own_size_as_the_chart_would():
    counts, sizes = [*random(10).binomial(100, 0.1, 29), 30], [*[100] * 29, 140]
    held = chart_of(counts[:20], sizes[:20]).limits
    phase = Phase(number=2, from_batch="B21", limits=held)
    chart = chart_of(counts, sizes, phases=(phase,))
    for at in range(20, 30):
        point = judge_count(held, counts[at], sizes[at], of="pieces", batch=f"B{at + 1}")
        drawn = chart.points[at]
        assert (point.value, point.lower, point.upper) == pytest.approx((drawn.value, drawn.lower, drawn.upper))
        assert bool(point.alarms) == ("outside the limits" in drawn.alarms)
    assert chart.points[29].alarms


def test_counts_on_equal_areas_are_judged_as_counts():
    chart = chart_of(random(11).poisson(9, 25), [2.0] * 25, of="places")
    point = judge_count(chart.limits, 30, 2.0, of="places", batch="B26")
    assert chart.kind == "count"
    assert (point.value, point.upper) == pytest.approx((30, chart.limits.upper))
    assert point.alarms


def test_no_fault_at_all_has_no_limits_and_no_alarm():
    chart = chart_of([0] * 25, [50] * 25)
    assert "none counted" in chart.cautions
    assert (chart.limits.lower, chart.limits.upper, chart.alarms) == (None, None, ())
    assert "constant" in chart_of([50] * 25, [50] * 25).cautions


@pytest.mark.parametrize(
    ("counts", "sizes", "of", "words"),
    [
        ([3, 60], [50, 50], "pieces", "more than there were"),
        ([3, -1], [50, 50], "pieces", "counts -1"),
        ([3, 2.5], [50, 50], "pieces", "whole numbers"),
        ([3, 2], [50, 49.5], "pieces", "whole numbers"),
        ([3, 2], [50, 0], "places", "size of 0"),
        ([3, math.nan], [50, 50], "places", "not a number"),
    ],
)
def test_counts_that_cannot_be_are_refused_by_batch(counts, sizes, of, words):
    with pytest.raises(TrialDataError, match=words) as refused:
        chart_of(counts, sizes, of)
    assert refused.value.where == "batch B2"
    assert refused.value.try_this


def test_one_batch_and_unknown_settings_are_refused():
    with pytest.raises(NotPossible, match="One batch"):
        chart_of([3], [50])
    for asked in ({"spread": "wide"}, {"limits": "tight"}):
        with pytest.raises(TrialDataError):
            chart_of([3, 4, 5], [50] * 3, **asked)
    with pytest.raises(TrialDataError, match="takes counts"):
        chart_batches((series([1, 2], [5, 5]),), kind="counts")
