"""Do charts of measured batches show what the batches do, whatever the unit and the order of readings?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.control import limits as made
from analysis.control.charts import chart_batches, choose_kind
from analysis.control.constants import constants
from analysis.control.limits import estimate, level_sd
from analysis.control.results import BatchSeries, Limits, Phase
from analysis.control.variables import METHODS, limits_of
from analysis.errors import NotPossible, TrialDataError

KINDS = ("individuals", "range", "sd", "between")


def series(values, response="rise height", unit="mm"):
    return BatchSeries(
        response=response,
        unit=unit,
        batches=tuple(f"B-{number}" for number in range(1, len(values) + 1)),
        values=tuple(tuple(map(float, np.atleast_1d(each))) for each in values),
    )


def drawn(sizes, *, between=0.0, within=1.0, seed=11, level=43.0):
    random = np.random.Generator(np.random.PCG64(seed))
    return series([level + between * random.standard_normal() + within * random.standard_normal(n) for n in sizes])


@pytest.fixture
def uneven():
    return drawn([4, 3, 5, 4, 4, 2, 4, 6, 4, 4, 3, 4, 4, 5, 4, 4, 4, 2, 4, 4, 4, 4], between=1.5)


def test_the_kind_suits_the_series():
    assert choose_kind(series([1, 2, 3])) == "individuals"
    assert choose_kind(series([1, (2, 3), 3])) == "between"
    assert [chart.kind for chart in chart_batches(series([(1, 2), (2, 4), (3, 3)]))] == [
        "batch mean",
        "moving range",
        "standard deviation",
    ]


def test_batches_that_differ_as_a_rule_are_not_alarms_but_are_by_their_pieces():
    # The reason for charts between batches: pieces of one dough are alike, doughs are not.
    log = drawn([4] * 200, between=2.0, within=0.5)
    between, within = chart_batches(log)[0], chart_batches(log, kind="sd")[0]
    outside = [sum("outside the limits" in point.alarms for point in chart.points) for chart in (between, within)]
    assert outside[0] <= 3
    assert outside[1] > 80
    assert "batches differ" in within.cautions
    assert "batches differ" not in between.cautions


def test_limits_between_batches_recover_both_spreads():
    limits = estimate(drawn([4] * 4000, between=2.0, within=1.0), made.BETWEEN)
    assert limits.numbers["within"] == pytest.approx(1.0, rel=0.03)
    assert limits.sd == pytest.approx(np.sqrt(2.0**2 + 1.0 / 4), rel=0.03)
    sds = level_sd(made.BETWEEN, limits.numbers, np.array([1.0, 4.0, 100.0]))
    assert sds == pytest.approx(np.sqrt(4.0 + 1.0 / np.array([1.0, 4.0, 100.0])), rel=0.03)


def test_without_a_difference_between_batches_the_pieces_explain_all():
    # By chance means may scatter less than their pieces allow; a larger batch still has narrower limits.
    numbers = {"mean": 0.0, "spread": 0.4, "within": 1.0, "size": 4.0, "inverse": 0.25}
    assert level_sd(made.BETWEEN, numbers, np.array([4.0, 16.0])) == pytest.approx([0.4, 0.2])


@pytest.mark.parametrize("kind", ["range", "sd"])
def test_unequal_batches_have_limits_of_their_own(uneven, kind):
    mean, spread = chart_batches(uneven, kind=kind)
    within = mean.limits.numbers["within"]
    for point, values in zip(mean.points, uneven.values, strict=True):
        assert point.upper - point.centre == pytest.approx(3 * within / np.sqrt(len(values)), rel=1e-12)
    for point, values in zip(spread.points, uneven.values, strict=True):
        of = constants(len(values))
        assert point.centre == pytest.approx(within * (of.d2 if kind == "range" else of.c4), rel=1e-12)
    assert mean.limits.upper == next(p.upper for p, v in zip(mean.points, uneven.values, strict=True) if len(v) == 4)


def test_steps_between_unequal_batches_have_limits_of_their_own():
    # Two levels with standard deviations a and b step by d2 sqrt((a^2 + b^2) / 2) on average.
    log = drawn([2, 8] * 3000, between=0.3, within=1.0)
    level, moving, _ = chart_batches(log, kind="between")
    sds = [(point.upper - point.centre) / 3 for point in level.points]
    expected = constants(2).d2 * np.sqrt((sds[0] ** 2 + sds[1] ** 2) / 2)
    assert moving.points[0].centre == pytest.approx(expected, rel=1e-12)
    assert np.mean([point.value for point in moving.points]) == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize("method", [made.BY_RANGES, made.BY_DEVIATIONS])
def test_the_spread_of_unequal_batches_is_estimated_without_bias(method):
    sizes = np.tile([2, 3, 9], 3000)
    assert estimate(drawn(sizes.tolist()), method).numbers["within"] == pytest.approx(1.0, rel=0.02)


def test_single_readings_among_several_stand_on_the_level_chart_only():
    mean, spread = chart_batches(series([(1, 3), 2, (3, 4), (2, 2.5)]), kind="sd")
    assert [point.batch for point in mean.points] == ["B-1", "B-2", "B-3", "B-4"]
    assert [point.batch for point in spread.points] == ["B-1", "B-3", "B-4"]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("scale", "shift"), [(1.8, 32.0), (0.001, 0.0), (1000.0, -5000.0)])
def test_another_unit_moves_no_alarm(kind, scale, shift):
    log = drawn([4] * 40, between=1.0)
    log = replace(log, values=(*log.values[:-1], tuple(v + 9 for v in log.values[-1])))
    other = replace(log, values=tuple(tuple(scale * v + shift for v in values) for values in log.values))
    rules = ("outside the limits", "eight on one side", "six rising or falling", "four of five well out")
    pair = (chart_batches(each, kind=kind, rules=rules) for each in (log, other))
    for one, two in zip(*pair, strict=True):
        assert [(a.batch, a.rule, a.since, a.side) for a in one.alarms] == [
            (a.batch, a.rule, a.since, a.side) for a in two.alarms
        ]
        moved = shift if one.kind in ("individuals", "batch mean") else 0.0
        assert two.limits.upper == pytest.approx(scale * one.limits.upper + moved, rel=1e-9)
    assert chart_batches(log, kind=kind)[0].alarms


@pytest.mark.parametrize("kind", KINDS)
def test_the_order_of_readings_within_a_batch_changes_nothing(kind, uneven):
    turned = replace(uneven, values=tuple(values[::-1] for values in uneven.values))
    assert chart_batches(turned, kind=kind) == chart_batches(uneven, kind=kind)


def test_below_twenty_batches_limits_are_provisional():
    assert chart_batches(drawn([1] * 19))[0].limits.provisional
    assert "few batches" in chart_batches(drawn([1] * 19))[0].cautions
    assert not chart_batches(drawn([1] * 20))[0].limits.provisional


def test_frozen_limits_judge_from_their_first_batch_on():
    log = drawn([1] * 60)
    log = replace(log, values=(*log.values[:30], *(tuple(v + 6 for v in values) for values in log.values[30:])))
    first = Phase(number=1, from_batch="B-11", limits=limits_of(log, kind="individuals", first="B-1", last="B-30"))
    second = Phase(number=2, from_batch="B-41", limits=limits_of(log, kind="individuals", first="B-41", last="B-60"))
    level, moving = chart_batches(log, phases=(second, first))
    phases = {point.batch: point.phase for point in level.points}
    assert [phases[f"B-{n}"] for n in (1, 10, 11, 40, 41, 60)] == [0, 0, 1, 1, 2, 2]
    assert level.points[10].upper == first.limits.upper
    assert level.points[40].upper == second.limits.upper == level.limits.upper
    early = replace(log, batches=log.batches[:10], values=log.values[:10])
    assert level.points[0].upper == estimate(early, made.BY_MOVING_RANGES).upper
    # Thirty batches above the old centre: the run ends with its phase, though the level stays.
    runs = [alarm for alarm in level.alarms if alarm.rule == "eight on one side"]
    assert {"B-38", "B-39", "B-40"} <= {alarm.batch for alarm in runs}
    assert {phases[alarm.batch] for alarm in runs} == {1}
    # A first batch under new limits has no step behind it.
    assert {"B-1", "B-11", "B-41"}.isdisjoint(point.batch for point in moving.points)
    assert "B-31" in {alarm.batch for alarm in moving.alarms}


def test_limits_do_not_look_at_later_batches():
    log = drawn([1] * 40)
    frozen = Phase(number=1, from_batch="B-1", limits=limits_of(log, kind="individuals", last="B-20"))
    longer = replace(log, values=(*log.values[:20], *(tuple(v + 50 for v in values) for values in log.values[20:])))
    short, long = chart_batches(log, phases=(frozen,))[0], chart_batches(longer, phases=(frozen,))[0]
    assert short.points[:20] == long.points[:20]


def test_limits_may_leave_batches_out():
    log = drawn([1] * 25)
    spoiled = replace(log, values=(*log.values[:12], (900.0,), *log.values[13:]))
    without = limits_of(spoiled, kind="individuals", without=("B-13",))
    assert without.batches == 24
    assert without.upper < 60


def test_the_base_of_limits_may_be_told():
    log = drawn([4] * 30, between=1.0)
    told = chart_batches(log, kind="between", first="B-2", last="B-25", without="B-9, B-11")[0].limits
    assert told == limits_of(log, kind="between", first="B-2", last="B-25", without=("B-9", "B-11"))
    phase = Phase(number=1, from_batch="B-1", limits=told)
    with pytest.raises(TrialDataError, match="are frozen"):
        chart_batches(log, phases=(phase,), last="B-25")


def test_a_single_batch_before_the_first_phase_stands_without_limits():
    log = drawn([1] * 12)
    phase = Phase(number=1, from_batch="B-2", limits=limits_of(log, kind="individuals"))
    level, moving = chart_batches(log, phases=(phase,))
    assert (level.points[0].lower, level.points[0].upper, level.points[0].phase) == (None, None, 0)
    assert [point.batch for point in moving.points] == [f"B-{n}" for n in range(3, 13)]


@pytest.mark.parametrize("kind", KINDS)
def test_a_constant_series_raises_no_alarm_and_says_so(kind):
    for chart in chart_batches(series([(43.1, 43.1, 43.1)] * 30), kind=kind):
        assert (chart.limits.lower, chart.limits.upper, chart.alarms) == (None, None, ())
        assert "constant" in chart.cautions


def test_copied_readings_make_no_limits_of_width_zero():
    # Every piece written down with one value: no spread within batches, so their means are not all "outside".
    mean, spread = chart_batches(series([(n % 7 + 40.0,) * 3 for n in range(30)]), kind="range")
    assert mean.alarms == spread.alarms == ()
    assert "constant" in mean.cautions


def test_readings_rounded_too_far_are_called_coarse():
    random = np.random.Generator(np.random.PCG64(5))
    values = np.where(random.uniform(size=40) < 0.1, 44.0, 43.0)
    assert "coarse" in chart_batches(series(values))[0].cautions
    assert "coarse" not in chart_batches(drawn([1] * 40))[0].cautions


@pytest.mark.parametrize(
    ("bad", "says", "way_out"),
    [
        (series([]), "no batch", "log a batch"),
        (series([43.0]), "One batch", "log more batches"),
        (series([43.0, float("nan"), 44.0]), "B-2 is not a number", "leave out"),
        (series([43.0, float("inf"), 44.0]), "B-2 is not a number", "leave out"),
        (series([1e300, 2e300]), "cannot be squared", "a unit"),
        (series([1e-300, 2e-300]), "cannot be squared", "a unit"),
        (replace(series([1.0, 2.0]), batches=("B-1", "B-1")), "B-1 stands twice", "number of its own"),
        (replace(series([1.0, 2.0]), values=((1.0,), ())), "B-2 has no reading", "leave the batch out"),
        (replace(series([1.0, 2.0]), values=((1.0,),)), "2 batches and 1", "one for each"),
    ],
)
def test_what_cannot_be_charted_is_said_with_the_way_out(bad, says, way_out):
    with pytest.raises((TrialDataError, NotPossible), match=says) as wrong:
        chart_batches(bad)
    assert way_out in wrong.value.try_this


def test_ranges_need_several_readings():
    with pytest.raises(NotPossible, match="one reading") as wrong:
        chart_batches(drawn([1] * 20), kind="range")
    assert wrong.value.try_this == "--kind individuals"


def frozen(lower=40.0, centre=43.0, upper=46.0, **more):
    given = {"method": made.BY_MOVING_RANGES, "batches": 30, "first_batch": "B-1", "last_batch": "B-9", **more}
    return Limits(lower=lower, centre=centre, upper=upper, sd=1.0, provisional=False, frozen=True, **given)


@pytest.mark.parametrize(
    ("limits", "says"),
    [
        (frozen(lower=46.0, upper=40.0), "wrong way round"),
        (frozen(centre=47.0), "wrong way round"),
        (frozen(upper=float("nan")), "not a number"),
    ],
)
def test_limits_the_wrong_way_round_are_refused(limits, says):
    with pytest.raises(TrialDataError, match=says):
        chart_batches(drawn([1] * 20), phases=(Phase(number=1, from_batch="B-1", limits=limits),))


def test_phases_have_to_fit_the_series_and_the_chart():
    log = drawn([4] * 20)
    with pytest.raises(TrialDataError, match="not in the series"):
        chart_batches(log, phases=(Phase(number=1, from_batch="B-99", limits=frozen()),))
    twice = tuple(Phase(number=n, from_batch="B-3", limits=frozen()) for n in (1, 2))
    with pytest.raises(TrialDataError, match="both begin"):
        chart_batches(log, kind="individuals", phases=twice)
    with pytest.raises(TrialDataError, match="this chart needs") as wrong:
        chart_batches(log, kind="range", phases=(Phase(number=1, from_batch="B-3", limits=frozen()),))
    assert "--kind individuals" in wrong.value.try_this


def test_limits_that_were_typed_are_enough_for_a_level():
    typed = frozen(method="typed by hand")
    for kind in KINDS:
        level = chart_batches(drawn([3] * 20), kind=kind, phases=(Phase(number=1, from_batch="B-1", limits=typed),))[0]
        assert {(point.lower, point.upper) for point in level.points} == {(40.0, 46.0)}


def test_kinds_and_settings_that_do_not_exist_are_refused_by_name():
    log = drawn([1] * 20)
    with pytest.raises(TrialDataError, match='kind "pareto"'):
        chart_batches(log, kind="pareto")
    with pytest.raises(TrialDataError, match='no setting "weight"'):
        chart_batches(log, kind="individuals", weight=0.2)
    with pytest.raises(TrialDataError, match="Batch B-3 comes before batch B-9"):
        limits_of(log, kind="individuals", first="B-9", last="B-3")
    with pytest.raises(TrialDataError, match="no batch B-77"):
        limits_of(log, kind="individuals", first="B-77")
    assert set(METHODS) == set(KINDS)
