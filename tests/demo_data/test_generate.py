"""Does the generator draw what the truth says, the same for the same seed?"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

import demo_data
from demo_data.generate import Drawn, ToBake, draw, draw_log, draw_notes, draw_scores, log_shift, lot_age
from demo_data.truth import TRIALS, expected, plan_text, smallest_good_enough, truth

FOLDER = Path(demo_data.__file__).parent
DOSES = (0.5, 1.0, 1.5, 2.0, 2.5)
ACIDS = ("lemon juice", "vinegar", "cream of tartar")
SODA_BAKES = tuple(
    ToBake(code=f"{day}/{dose}/{acid}", day=day, settings={"soda": dose, "acid source": acid})
    for day, dose, acid in itertools.product(("day 1", "day 2", "day 3"), DOSES, ACIDS)
)
SODA_RESPONSES = ("rise height", "crumb pH", "crumb score")


def mean_of(readings: tuple[Drawn, ...]) -> float:
    return float(np.mean([reading.value for reading in readings]))


@pytest.mark.parametrize("response", SODA_RESPONSES)
def test_the_same_seed_draws_the_same_readings(response):
    once, again = (draw("soda", response, SODA_BAKES, 7) for _ in range(2))
    assert once == again
    assert once != draw("soda", response, SODA_BAKES, 8)


def test_readings_per_bake_are_those_of_the_plan():
    counts = {response: len(draw("soda", response, SODA_BAKES, 1)) for response in SODA_RESPONSES}
    assert counts == {"rise height": 2 * 45, "crumb pH": 2 * 45, "crumb score": 45}
    assert {reading.piece for reading in draw("soda", "rise height", SODA_BAKES, 1)} == {1, 2}
    assert {(r.piece, r.repeat) for r in draw("soda", "crumb pH", SODA_BAKES, 1)} == {(None, 1), (None, 2)}


@pytest.mark.parametrize("response", ["rise height", "crumb pH"])
def test_many_draws_settle_on_the_truth(response):
    bake = ToBake(code="a", day=None, settings={"soda": 1.0, "acid source": "vinegar"})
    drawn = [mean_of(draw("soda", response, (bake,), seed)) for seed in range(400)]
    truth_here = expected("soda", response, bake.settings)
    assert abs(np.mean(drawn) - truth_here) < 4 * np.std(drawn) / math.sqrt(len(drawn))


def test_bakes_scatter_more_than_pieces_of_one_bake():
    """Between-bake variance of bake means: bake^2 + (piece^2 + reading^2)/2 = 2.25 + 0.765 = 3.015 mm^2."""
    bakes = tuple(ToBake(code=str(n), day=None, settings={"soda": 1.7, "acid source": "vinegar"}) for n in range(3000))
    values = np.array([reading.value for reading in draw("soda", "rise height", bakes, 3)]).reshape(-1, 2)
    assert np.var(values.mean(axis=1), ddof=1) == pytest.approx(3.015, rel=0.1)
    assert np.mean(np.var(values, axis=1, ddof=1)) == pytest.approx(1.53, rel=0.1)


def test_bakes_of_one_day_share_that_days_deviation():
    def day_means(seed: int) -> list[float]:
        readings = draw("soda", "rise height", SODA_BAKES, seed)
        return [mean_of(tuple(r for r in readings if r.code.startswith(day))) for day in ("day 1", "day 2", "day 3")]

    # sd of a day's mean: day sd 2 and bakes 3.015/15 -> sqrt(4.2) = 2.05
    spread = math.sqrt(np.mean([np.var(day_means(seed), ddof=1) for seed in range(150)]))
    assert spread == pytest.approx(2.05, rel=0.12)


def test_scores_are_whole_and_on_the_scale():
    scores = {reading.value for seed in range(20) for reading in draw("soda", "crumb score", SODA_BAKES, seed)}
    assert scores <= {1.0, 2.0, 3.0, 4.0, 5.0}
    assert len(scores) >= 4


def test_further_assessors_score_the_same_crumbs_each_in_their_own_way():
    once, again = (draw_scores("soda", SODA_BAKES, 7) for _ in range(2))
    assert once == again != draw_scores("soda", SODA_BAKES, 8)
    assert Counter(score.assessor for score in once) == {1: 45, 2: 45}
    assert {score.value for score in once} <= {1.0, 2.0, 3.0, 4.0, 5.0}
    assert draw_scores("powder", SODA_BAKES, 7) == ()
    first, milder, harder = [], [], []
    for seed in range(20):
        first += [reading.value for reading in draw("soda", "crumb score", SODA_BAKES, seed)]
        others = draw_scores("soda", SODA_BAKES, seed)
        milder += [score.value for score in others if score.assessor == 1]
        harder += [score.value for score in others if score.assessor == 2]
    # 0.1 milder and 0.6 harder; a little is lost where scores end at 1 and 5
    assert np.mean(milder) - np.mean(first) == pytest.approx(0.1, abs=0.08)
    assert np.mean(harder) - np.mean(first) == pytest.approx(-0.6, abs=0.08)
    assert np.corrcoef(first, harder)[0, 1] > 0.7


def test_soapy_words_come_with_soda():
    notes = [note for seed in range(60) for note in draw_notes("soda", SODA_BAKES, seed)]
    soapy = Counter(float(note.code.split("/")[1]) for note in notes if "soapy" in note.tags)
    noted = Counter(float(note.code.split("/")[1]) for note in notes)
    shares = [soapy[dose] / noted[dose] for dose in DOSES]
    assert shares == sorted(shares)
    # truth: 1 / (1 + exp(8 - 4 * 2.5)) = 0.881 at 2.5 %, 0.002 at 0.5 %
    assert shares[0] < 0.02
    assert shares[-1] == pytest.approx(0.881, abs=0.04)
    assert all(note.words and note.tags for note in notes)


def test_screening_means_hold_the_effects():
    low = {"powder": 1.0, "sugar": 45, "mixing time": 2, "rest time": 5, "oven temperature": 175}
    raised = {**low, "powder": 2.5}
    # main effect 2.6 and interaction -1.8 with rest time at its low level: 2.6 - (-1.8) = 4.4
    at_low = expected("screening", "rise height", low)
    assert expected("screening", "rise height", raised) - at_low == pytest.approx(4.4)
    assert expected("screening", "rise height", {**low, "mixing time": 5}) == at_low


def test_smallest_good_dose_is_within_the_difference_and_no_smaller():
    vinegar = {"acid source": "vinegar"}
    for key, within, extra in (("soda", 3.0, vinegar), ("autumn", 3.0, vinegar), ("powder", 2.0, {})):
        dosed = "powder" if key == "powder" else "soda"
        dose = smallest_good_enough(key, within)
        best = max(expected(key, "rise height", {dosed: step / 100, **extra}) for step in range(50, 701))
        assert best - expected(key, "rise height", {dosed: dose, **extra}) == pytest.approx(within, abs=1e-9)
        assert best - expected(key, "rise height", {dosed: dose - 0.01, **extra}) > within


def test_the_log_drifts_and_steps_where_the_truth_says():
    log = draw_log(truth()["seed"])
    assert log == draw_log(truth()["seed"])
    assert len({batch.number for batch in log}) == truth()["log"]["batches"] == 120
    assert log_shift(37) == 0
    assert log_shift(38) == pytest.approx(-0.09)
    assert log_shift(78) == pytest.approx(-0.09 * 41)
    assert log_shift(79) == 0
    assert [log_shift(place) for place in (89, 90, 105, 106)] == [0, -2.6, -2.6, 0]
    means = np.array([np.mean(batch.rise_height_mm) for batch in log])
    shifts = np.array([log_shift(place) for place in range(1, 121)])
    assert np.mean(means - shifts) == pytest.approx(43, abs=0.3)
    assert all(len(batch.rise_height_mm) == 4 for batch in log)


def test_beside_the_rise_gas_falls_with_the_open_lot_and_ph_stays():
    log = draw_log(truth()["seed"])
    assert [name for name in log[0].beside] == ["crumb pH", "powder gas", "oven temperature"]
    assert sum("crumb pH" in batch.beside for batch in log) == 60
    assert sum("powder gas" in batch.beside for batch in log) == 40
    gas = {place: batch.beside["powder gas"] for place, batch in enumerate(log, 1) if "powder gas" in batch.beside}
    fresh = np.mean([value for place, value in gas.items() if lot_age(place) == 0])
    last = np.mean([value for place, value in gas.items() if lot_age(place) > 30])
    assert fresh == pytest.approx(68, abs=1)
    assert last / fresh == pytest.approx(1 - 0.0045 * 36, abs=0.03)
    acid = [batch.beside["crumb pH"] for batch in log if "crumb pH" in batch.beside]
    assert np.ptp(acid) < 0.3
    # 0.45 % of 4 % of powder is 0.018 % of flour; the ladder's slope is 5 mm a percent: 0.09 mm a batch.
    part = truth()["log"]
    lost = part["beside"]["powder_gas"]["lost_per_batch"] * 4 * truth()["powder"]["rise_height"]["slope"]
    assert lost == pytest.approx(-part["drift"]["per_batch"])


def test_every_file_says_that_it_is_invented():
    for path in FOLDER.rglob("*"):
        if path.suffix in (".toml", ".py", ".csv"):
            words = path.read_text(encoding="utf-8").lower()
            assert "invented" in words, path.name


def test_plan_files_are_found_for_every_trial():
    assert all(plan_text(key).startswith("# Invented") for key in TRIALS)
