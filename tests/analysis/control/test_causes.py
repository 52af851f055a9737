"""Are changes in a log found, sized, dated and put down to what went with them?"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.control.causes import find_causes
from analysis.control.change import limit_of_bend, limit_of_break
from analysis.control.results import BatchSeries
from analysis.control.scan import CORRELATIONS, Patterns, colour, scan, whiten
from analysis.control.why_results import MadeWith
from analysis.errors import NotPossible, TrialDataError

N = 80


def log(means, *, pieces=4, seed=3, lots=None, settings=None, beside=None, at=()):
    chance = np.random.Generator(np.random.PCG64(seed))
    values = tuple(
        tuple(float(each) for each in np.round(mean + chance.normal(0, 0.8) + chance.normal(0, 1, pieces), 1))
        for mean in means
    )
    batches = tuple(f"B{place}" for place in range(1, len(means) + 1))
    return MadeWith(
        series=BatchSeries(response="rise height", unit="mm", batches=batches, values=values, at=at),
        lots={name: tuple(column) for name, column in (lots or {}).items()},
        settings={name: tuple(column) for name, column in (settings or {}).items()},
        beside=beside or {},
    )


FLOUR = ["F-1"] * 25 + ["F-2"] * 25 + ["F-3"] * 18 + ["F-4"] * 12
OVENS = [("upper", "lower")[place * 7 % 11 % 2] for place in range(N)]
SHIFTS = [("early", "late")[place % 2] for place in range(N)]
PLACE = np.arange(N)


def test_a_lot_that_bakes_lower_is_named_dated_and_sized():
    why = find_causes(log(43 - 2.6 * np.array([lot == "F-3" for lot in FLOUR]), lots={"flour": FLOUR}))
    (change,) = why.changes
    assert (change.cause.column, change.cause.level, change.cause.behaviour) == ("flour", "F-3", "step")
    assert (change.from_batch, change.to_batch, change.batches) == ("B51", "B68", 18)
    assert change.low < -2.6 < change.high
    assert change.onset in [f"B{place}" for place in range(48, 55)]
    assert int(change.onset_low[1:]) <= 51 <= int(change.onset_high[1:])
    assert change.weight > 0.95
    assert change.rivals == ()
    assert why.p_value <= 0.01


def test_an_oven_that_drifts_is_told_from_one_that_is_off():
    in_lower = np.array([oven == "lower" for oven in OVENS])
    drifting = find_causes(log(43 - 0.06 * PLACE * in_lower, settings={"oven": OVENS, "shift": SHIFTS}))
    off = find_causes(log(43 - 2 * in_lower, settings={"oven": OVENS, "shift": SHIFTS}))
    assert [(c.cause.column, c.cause.behaviour) for c in drifting.changes] == [("oven", "drift")]
    assert drifting.changes[0].cause.level == "lower"
    assert drifting.changes[0].per_batch == pytest.approx(-0.06, abs=0.025)
    assert [(c.cause.column, c.cause.behaviour) for c in off.changes] == [("oven", "offset")]
    assert off.changes[0].onset is None


def test_a_drift_and_a_step_that_lie_over_each_other_are_both_found():
    powder = ["P-1"] * 20 + ["P-2"] * 45 + ["P-3"] * 15
    means = 43 - 0.09 * np.where((PLACE >= 20) & (PLACE < 65), PLACE - 19, 0) - 2.6 * ((PLACE >= 50) & (PLACE < 68))
    why = find_causes(log(means, lots={"flour": FLOUR, "baking powder": powder}, settings={"oven": OVENS}))
    assert [(c.cause.column, c.cause.level, c.cause.behaviour) for c in why.changes] == [
        ("baking powder", "P-2", "drift"),
        ("flour", "F-3", "step"),
    ]
    assert why.changes[0].low < -0.09 * 45 < why.changes[0].high


def test_a_change_that_nothing_in_the_log_goes_with_has_no_cause():
    why = find_causes(log(43 + 3 * (PLACE >= 38), lots={"flour": FLOUR}, settings={"oven": OVENS, "shift": SHIFTS}))
    (change,) = why.changes
    assert not change.cause.logged
    assert change.onset_low is not None
    assert int(change.onset_low[1:]) <= 39 <= int(change.onset_high[1:])


def test_two_things_that_changed_at_the_same_batch_cannot_be_told_apart():
    settings = {"oven": ["upper"] * 45 + ["lower"] * 35, "shift": ["early"] * 45 + ["late"] * 35}
    (change,) = find_causes(log(43 - 3 * (PLACE >= 45), settings=settings)).changes
    assert {change.cause.column, change.rivals[0].suspect.column} == {"oven", "shift"}
    assert change.weight == pytest.approx(0.5, abs=0.1)
    assert change.rivals[0].alike == pytest.approx(1)


def test_what_changed_in_the_same_week_is_named_beside_the_cause():
    settings = {"oven": ["upper"] * 45 + ["lower"] * 35, "shift": ["early"] * 47 + ["late"] * 33}
    (change,) = find_causes(log(43 - 3 * (PLACE >= 45), settings=settings)).changes
    assert change.cause.column == "oven"
    (shift,) = [rival for rival in change.rivals if rival.suspect.column == "shift"]
    assert 0.9 <= shift.alike < 1
    assert shift.weight < change.weight


def test_with_no_columns_only_time_is_asked():
    why = find_causes(log(43 - 3 * (PLACE >= 45)))
    assert why.asked == ()
    assert not why.changes[0].cause.logged
    assert abs(int(why.changes[0].from_batch[1:]) - 46) <= 2


def test_what_cannot_be_asked_is_left_out_with_its_reason():
    lots = {"flour": ["F-1"] * 40 + ["F-2"] * 38 + ["F-3"] * 2, "sugar": [None] * N}
    why = find_causes(log(np.full(N, 43.0), lots=lots, settings={"line": ["bench"] * N}))
    assert dict(why.left_out) == {
        "flour lot F-3": "too few batches",
        "sugar lot": "not noted",
        "line": "never changed",
    }
    assert why.changes == ()
    assert why.p_value > 0.05


def test_units_and_names_do_not_change_what_is_found():
    first = log(43 - 2.6 * np.array([lot == "F-3" for lot in FLOUR]), lots={"flour": FLOUR})
    inches = tuple(tuple(value / 25.4 for value in each) for each in first.series.values)
    named = {"F-1": "d", "F-2": "c", "F-3": "b", "F-4": "a"}
    other = MadeWith(
        series=BatchSeries(response="rise height", unit="in", batches=first.series.batches, values=inches),
        lots={"flour": tuple(named[lot] for lot in FLOUR)},
    )
    (one,), (two,) = find_causes(first).changes, find_causes(other).changes
    assert two.cause.level == "b"
    assert two.size * 25.4 == pytest.approx(one.size, rel=1e-9)
    assert (two.onset_low, two.onset_high, two.weight) == (one.onset_low, one.onset_high, pytest.approx(one.weight))


def test_a_batch_of_more_pieces_weighs_more():
    even = log(43 - 2.6 * np.array([lot == "F-3" for lot in FLOUR]), lots={"flour": FLOUR}, pieces=6)
    values = tuple(each[: 1 if place % 2 else 6] for place, each in enumerate(even.series.values))
    fewer = MadeWith(
        series=BatchSeries(response="rise height", batches=even.series.batches, values=values), lots=even.lots
    )
    (change,) = find_causes(fewer).changes
    assert change.cause.level == "F-3"
    assert change.low < -2.6 < change.high


def test_age_in_days_is_told_from_age_in_batches():
    days = np.cumsum([40.0 if place in (10, 40) else 0.0 for place in range(N)]) + PLACE * 0.5
    at = tuple(str(np.datetime64("2026-01-01T06:00") + np.timedelta64(int(day * 1440), "m")) + ":00Z" for day in days)
    powder = ["P-1"] * 20 + ["P-2"] * 60
    means = 43 - 0.08 * np.where(PLACE >= 20, days - days[20], 0)
    (change,) = find_causes(log(means, lots={"powder": powder}, at=at)).changes
    assert (change.cause.column, change.cause.level, change.cause.behaviour) == ("powder", "P-2", "drift")
    assert change.per_day == pytest.approx(-0.08, abs=0.02)


@pytest.mark.parametrize("n", [1, 2, 11])
def test_too_few_batches_are_refused_in_words(n):
    with pytest.raises(NotPossible, match="too little"):
        find_causes(log(np.full(n, 43.0)))


def test_a_series_that_never_moves_is_refused_in_words():
    still = MadeWith(series=BatchSeries(response="rise", batches=tuple("abcdefghijklmno"), values=((43.0, 43.0),) * 15))
    with pytest.raises(NotPossible, match="same rise"):
        find_causes(still)


def test_a_column_of_another_length_is_refused():
    with pytest.raises(TrialDataError, match="flour has 3 entries for 80 batches"):
        find_causes(log(np.full(N, 43.0), lots={"flour": ["F-1"] * 3}))


def test_a_mean_that_is_still_but_for_one_clean_step_leaves_no_warning():
    values = tuple((43.0,) if place < 10 else (40.0,) for place in range(20))
    why = find_causes(MadeWith(series=BatchSeries(response="rise", batches=tuple(map(str, range(20))), values=values)))
    assert [change.from_batch for change in why.changes] == ["10"]
    assert all(np.isfinite([c.size, c.low, c.high]).all() for c in why.changes)


def test_noise_is_coloured_as_it_was_whitened():
    noise = np.random.Generator(np.random.PCG64(5)).normal(size=(50, 3))
    assert np.allclose(whiten(colour(noise, 0.6), 0.6), noise)
    long = colour(np.random.Generator(np.random.PCG64(6)).normal(size=(20_000, 1)), 0.6)[:, 0]
    assert np.corrcoef(long[1:], long[:-1])[0, 1] == pytest.approx(0.6, abs=0.02)
    assert long.var() == pytest.approx(1 / (1 - 0.36), rel=0.05)


def test_the_limit_of_a_break_is_the_published_one():
    # Hansen 2000, Econometrica 68, Table I: 5.94, 7.35, 10.59 at 90, 95, 99 %.
    assert [round(limit_of_break(each), 2) for each in (0.9, 0.95, 0.99)] == [5.94, 7.35, 10.59]
    assert limit_of_bend(0.95) == pytest.approx(3.841, abs=0.001)


def test_the_gain_of_a_pattern_is_that_of_two_fits():
    """Twice the log likelihood gained, against least squares done one by one at every correlation."""
    series = log(43 - 1.5 * (PLACE >= 40))
    y = np.array([np.mean(each) for each in series.series.values])
    base, columns = np.ones((N, 1)), np.column_stack([PLACE >= 30, PLACE >= 40, PLACE % 2]).astype(float)
    found = scan(y, base, Patterns(columns, np.ones(3), root_weights=np.ones(N)))

    def best(design):
        fits = []
        for correlation in CORRELATIONS:
            a, b = whiten(design, correlation), whiten(y[:, None], correlation)[:, 0]
            left = b - a @ np.linalg.lstsq(a, b, rcond=None)[0]
            fits.append(np.log(1 - correlation**2) - N * np.log(left @ left))
        return max(fits)

    expected = [best(np.column_stack([base, column])) - best(base) for column in columns.T]
    assert found.gains == pytest.approx(expected, rel=1e-6, abs=1e-6)
    assert found.weights.sum() == pytest.approx(1)
