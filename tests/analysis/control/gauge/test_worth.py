"""How many readings of a bake are worth taking: does simulation agree, and does it stop where it should?"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from analysis.control.gauge.results import Component
from analysis.control.gauge.worth import HELPS, worth_of


def parts(**variances):
    return {
        key.replace("_", " "): Component(key=key, variance=value, low=None, high=None, method="chi-squared")
        for key, value in variances.items()
    }


def point(worth, people, readings):
    return next(one for one in worth.points if (one.people, one.readings) == (people, readings))


def test_the_sd_of_a_bakes_mean_is_what_simulated_bakes_have():
    variances = {"repeatability": 0.9, "person": 0.5, "person_by_piece": 0.4, "piece": 1.5}
    worth = worth_of(parts(**variances))
    rng = np.random.Generator(np.random.PCG64(3))
    bakes, people, readings = 40_000, 2, 3
    bake = rng.normal(0, np.sqrt(1.5), bakes)
    both = rng.normal(0, np.sqrt(0.4), (people, bakes))
    offset = rng.normal(0, np.sqrt(0.5), (people, 1))  # the same for every bake
    read = bake + both + offset + rng.normal(0, np.sqrt(0.9), (readings, people, bakes))
    assert point(worth, people, readings).sd == pytest.approx(read.mean(axis=(0, 1)).std(), rel=0.015)
    anyone = bake + both[0] + rng.normal(0, np.sqrt(0.5), bakes) + rng.normal(0, np.sqrt(0.9), bakes)
    assert worth.anyone_sd == pytest.approx(anyone.std(), rel=0.015)
    assert worth.floor == pytest.approx(np.sqrt(1.5))


def test_it_stops_where_one_more_helps_little():
    for ratio in (0.01, 0.1, 0.5, 1.0, 3.0):
        worth = worth_of(parts(repeatability=ratio, person=0.0, piece=1.0))
        sds = [np.sqrt(1 + ratio / k) for k in range(1, 14)]
        gains = [1 - later / earlier for earlier, later in pairwise(sds)]
        assert all(gain >= HELPS for gain in gains[: worth.enough - 1])
        assert gains[worth.enough - 1] < HELPS


def test_a_good_gauge_takes_one_reading_and_a_bad_one_more():
    enough = [worth_of(parts(repeatability=own, piece=1.0)).enough for own in (0.01, 0.5, 2.0, 10.0)]
    assert enough == sorted(enough)
    assert enough[0] == 1
    assert enough[-1] > 3


def test_more_people_help_where_people_read_some_pieces_higher():
    apart = worth_of(parts(repeatability=0.05, person=0.0, person_by_piece=2.0, piece=1.0))
    alike = worth_of(parts(repeatability=0.05, person=5.0, person_by_piece=0.0, piece=1.0))
    assert apart.people > 1 == alike.people
    assert alike.anyone_sd > 2 * point(alike, 1, 1).sd


def test_bakes_that_do_not_differ_are_no_trouble():
    worth = worth_of(parts(repeatability=1.0, person=0.0, piece=0.0))
    assert worth.floor == 0
    assert worth.enough == 10  # the SD falls with the root of k: from 10 to 11 by less than 5 % [computed by hand]
