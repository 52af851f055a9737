"""Do intervals of indices and of the share outside cover the truth, and is what tells nothing refused?"""

from __future__ import annotations

import math
import os

import numpy as np
import pytest
from scipy import stats

from analysis.control.capability import capability_of, normal_indices
from analysis.control.results import BatchSeries, Specification
from analysis.control.spreads import between_quantiles, even_points, pivots, share_outside, spreads_of
from analysis.errors import NotPossible, TrialDataError

SPEC = Specification(response="rise height", unit="mm", lower=40, upper=48, target=44)
DRAWS = 400

LARGE = bool(os.environ.get("CRUMBWISE_LARGE"))  # 800 whole answers, 2,000 draws of each layout


def series(values):
    batches = tuple(f"B{i + 1}" for i in range(len(values)))
    rows = tuple(tuple(float(x) for x in np.atleast_1d(row)) for row in values)
    return BatchSeries(response="rise height", unit="mm", batches=batches, values=rows)


def bakes(batches, pieces=1, *, between=0.0, seed=1, mean=44.0, sd=1.0):
    random = np.random.Generator(np.random.PCG64(seed))
    return mean + between * random.standard_normal((batches, 1)) + sd * random.standard_normal((batches, pieces))


def answer(values, specification=SPEC, *, stable=True, **asked):
    return capability_of(series(values), specification, stable=stable, **asked)


def by_name(found):
    return {one.index: one for one in found.indices}


@pytest.mark.parametrize(("pieces", "between"), [(1, 0.0), (4, 0.0), (4, 0.8), (4, 1.5)])
def test_the_share_outside_and_the_index_over_batches_cover_the_truth(pieces, between):
    total = math.hypot(between, 1.0)
    lower, upper = 44 - 3.3 * total, 44 + 2.8 * total
    truth = float(share_outside(44.0, total, lower, upper))
    share = nearer = 0
    for seed in range(DRAWS):
        mean, sd = pivots(spreads_of(bakes(20, pieces, between=between, seed=seed)), points=2048)
        low, high = between_quantiles(share_outside(mean, sd, lower, upper), 0.95)
        share += low <= truth <= high
        low, high = between_quantiles((upper - mean) / (3 * sd), 0.95)
        nearer += low <= 2.8 / 3 <= high
    # 400 draws: 95 % give or take 2.2 points.
    assert 0.92 <= share / DRAWS <= 0.985
    assert 0.92 <= nearer / DRAWS <= 0.985


def test_with_one_limit_the_share_outside_is_that_of_the_noncentral_t():
    # Exact: sqrt(n) (upper - mean) / s is noncentral t with n - 1 df about sqrt(n) z of the share inside.
    values = bakes(20, seed=3)[:, 0]
    found = answer(values, Specification(response="rise height", upper=46.5)).outside
    k = math.sqrt(20) * (46.5 - values.mean()) / values.std(ddof=1)
    for share, chance in ((found.high, 0.975), (found.low, 0.025)):
        reached = stats.nct.cdf(k, 19, math.sqrt(20) * stats.norm.isf(share))
        assert reached == pytest.approx(chance, abs=0.002)


def test_midway_between_two_limits_the_index_errs_to_the_careful_side():
    total = math.hypot(1.0, math.sqrt(0.5))
    bounds = Specification(response="rise height", lower=40.0, upper=48.0)
    low = high = 0
    draws = 800 if LARGE else 60
    for seed in range(draws):
        found = answer(bakes(40, 3, between=1.0, seed=seed, mean=44.0, sd=math.sqrt(0.5)), bounds).index
        assert found.low is not None
        assert found.high is not None
        low += 4 / (3 * total) < found.low
        high += 4 / (3 * total) > found.high
    # Of 60 draws up to four may lie below and ten above before it is odd.
    assert low / draws <= (0.025 if LARGE else 4 / 60)
    assert (0.04 if LARGE else 0) <= high / draws <= (0.12 if LARGE else 10 / 60)


def test_published_intervals_of_cpk_cover_too():
    inside = 0
    for seed in range(2000):
        values = bakes(40, seed=seed)[:, 0]
        spec = Specification(response="x", lower=40, upper=47)
        found = normal_indices(mean=values.mean(), sd=values.std(ddof=1), n=40, df=39, specification=spec)["pk"]
        inside += found[1] <= 1.0 <= found[2]
    assert inside / 2000 == pytest.approx(0.95, abs=0.015)


def test_treating_pieces_of_a_batch_as_their_own_draws_would_not_cover():
    naive = over = counted = 0
    for seed in range(200):
        asked = answer(bakes(20, 4, between=1.5, seed=seed), Specification(response="x", upper=49.0))
        if asked.scale != "as read":  # one in a hundred looks lopsided by chance
            continue
        counted += 1
        found = by_name(asked)
        truth = 5 / (3 * math.hypot(1.5, 1))
        naive += found["Ppk"].low <= truth <= found["Ppk"].high
        over += found["Ppk over batches"].low <= truth <= found["Ppk over batches"].high
    assert counted > 180
    assert naive / counted < 0.88
    assert 0.91 <= over / counted <= 0.99


@pytest.mark.parametrize("shift", [0.0, 100.0])
def test_lopsided_readings_go_by_their_own_scale_and_cover(shift):
    truth, inside, counted = float(stats.norm.sf(math.log(4) / 0.5)), 0, 0
    for seed in range(30):
        values = shift + np.exp(0.5 * np.random.Generator(np.random.PCG64(seed)).standard_normal(100))
        found = answer(values, Specification(response="x", upper=shift + 4))
        if found.scale != "as read":
            counted += 1
            inside += found.outside.low <= truth <= found.outside.high
    assert counted > 25
    assert inside / counted >= 0.87


def test_capability_is_kept_from_a_process_that_is_not_stable():
    stable, not_stable = answer(bakes(30)), answer(bakes(30), stable=False)
    unknown = answer(bakes(30), stable=None)
    assert {"Cp", "Cpk", "Cpm", "Pp", "Ppk"} <= set(by_name(stable))
    assert not {name for name in by_name(not_stable) if name.startswith("C")}
    assert (stable.main, not_stable.main) == ("Cpk", "Ppk")
    assert "not stable" in not_stable.cautions
    assert "stability not known" in unknown.cautions


def test_verdicts_follow_the_interval():
    assert answer(bakes(200, sd=0.6)).index.verdict == "meets"
    assert answer(bakes(200, sd=2.0)).index.verdict == "falls short"
    assert answer(bakes(25, sd=0.95)).index.verdict == "cannot tell"
    assert answer(bakes(25, sd=0.95), wanted=0.5).index.verdict == "meets"


def test_a_mean_off_its_target_lowers_cpm_only():
    spec = Specification(response="x", lower=40, upper=48, target=44)
    on, off = by_name(answer(bakes(60), spec)), by_name(answer(bakes(60) + 2, spec))
    assert off["Cpm"].value < 0.6 * on["Cpm"].value
    assert off["Cp"].value == pytest.approx(on["Cp"].value)


def test_one_sided_specifications_have_no_width():
    upper = by_name(answer(bakes(30), Specification(response="x", upper=47)))
    assert set(upper) == {"CPU", "Cpk", "PPU", "Ppk"}
    assert upper["CPU"].value == upper["Cpk"].value


def test_units_and_order_change_nothing():
    values = bakes(25, 3, between=0.5)
    inch = Specification(response="x", lower=40 / 25.4, upper=48 / 25.4, target=44 / 25.4)
    mm, inches = answer(values), answer(values / 25.4, inch)
    mixed = answer(values[np.random.Generator(np.random.PCG64(2)).permutation(25)])
    for one, other, third in zip(mm.indices, inches.indices, mixed.indices, strict=True):
        assert (one.value, one.low, one.high) == pytest.approx((other.value, other.low, other.high), rel=1e-9)
        assert (one.value, one.low, one.high) == pytest.approx((third.value, third.low, third.high), rel=1e-9)
    assert mm.outside.high == pytest.approx(inches.outside.high, rel=1e-6)


def test_pieces_seen_outside_are_counted():
    values = bakes(30)
    values[3] = 39.5
    found = answer(values).outside
    assert found.seen >= 1
    assert found.readings == 30
    assert found.low < found.value < found.high


def test_points_fill_the_cube_evenly():
    points = even_points(3)
    assert points.mean(axis=1) == pytest.approx([0.5] * 3, abs=1e-3)
    assert abs(np.corrcoef(points)[0, 1]) < 1e-3


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ([44.0] * 20, "Every reading of rise height is 44"),
        ([[44.0, 44.2, 43.9]], "how its pieces differ, not how batches do"),
        ([44.0, 44.2], "2 batches of rise height say little"),
    ],
)
def test_what_tells_nothing_is_refused_in_words(values, words):
    with pytest.raises(NotPossible, match=words) as refused:
        answer(values)
    assert refused.value.try_this


@pytest.mark.parametrize(
    ("specification", "asked"),
    [
        (Specification(response="x"), {}),
        (Specification(response="x", lower=48, upper=40), {}),
        (Specification(response="x", lower=40, upper=48, target=60), {}),
        (Specification(response="x", lower=math.nan), {}),
        (SPEC, {"wanted": 0}),
        (SPEC, {"confidence": 95}),
    ],
)
def test_specifications_and_wishes_that_cannot_be(specification, asked):
    with pytest.raises(TrialDataError) as refused:
        answer(bakes(20), specification, **asked)
    assert refused.value.try_this


def test_readings_of_two_kinds_are_not_taken_for_normal():
    random = np.random.Generator(np.random.PCG64(5))
    values = np.where(random.random(200) < 0.5, 42, 46) + 0.3 * random.standard_normal(200)
    assert "not normal" in answer(values).cautions


@pytest.mark.parametrize(("batches", "pieces", "alike"), [(10, 1, 0), (25, 1, 0), (10, 4, 0.3), (25, 4, 0.7)])
def test_coverage_at_length(batches, pieces, alike):
    """``alike``: correlation of the pieces of one batch. Limits stand 3 and 3.5 standard deviations away."""
    between, within = math.sqrt(alike), math.sqrt(1 - alike)
    truth = float(share_outside(0.0, 1.0, -3.5, 3.0))
    inside = {"share": 0, "nearer": 0, "width": 0}
    draws = 2000 if LARGE else 150
    for seed in range(draws):
        values = bakes(batches, pieces, between=between, seed=seed, mean=0.0, sd=within)
        mean, sd = pivots(spreads_of(values), points=4096)
        of = {
            "share": (share_outside(mean, sd, -3.5, 3.0), truth),
            "nearer": (np.minimum(mean + 3.5, 3.0 - mean) / (3 * sd), 1.0),
            "width": (6.5 / (6 * sd), 6.5 / 6),
        }
        for name, (drawn, true) in of.items():
            low, high = between_quantiles(drawn, 0.95)
            inside[name] += low <= true <= high
    for name, count in inside.items():
        assert count / draws == pytest.approx(0.95, abs=0.02 if LARGE else 0.055), name
