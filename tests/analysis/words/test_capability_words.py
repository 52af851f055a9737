"""Is capability said with its verdict, its interval and what it means, and only where the process is stable?"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.control.capability import capability_of
from analysis.control.results import BatchSeries, Specification
from analysis.words.capability import say_capability, say_outside, say_verdict
from analysis.words.numbers import writing

SPEC = Specification(response="rise height", unit="mm", lower=40, upper=48)


def told(values, specification=SPEC, *, stable=True):
    rows = tuple(tuple(float(x) for x in np.atleast_1d(row)) for row in values)
    series = BatchSeries(
        response="rise height", unit="mm", batches=tuple(f"B{i}" for i in range(len(rows))), values=rows
    )
    return capability_of(series, specification, stable=stable)


def bakes(n, sd=1.0, mean=44.0, seed=1):
    return mean + sd * np.random.Generator(np.random.PCG64(seed)).standard_normal(n)


@pytest.mark.parametrize(
    ("values", "begins"),
    [
        (bakes(200, 0.6), "Rise height keeps its specification with room to spare: its mean of 43.96 mm"),
        (bakes(200, 2.0), "Rise height does not keep its specification well enough: its mean of 4"),
        (bakes(25, 0.95), "Whether rise height keeps its specification well enough cannot be told from 25 batches"),
    ],
)
def test_the_verdict_comes_first(values, begins):
    said = say_capability(told(values))
    assert said[0].startswith(begins)
    assert "Cpk = " in said[0]
    assert "95 % interval" in said[0]
    assert "wanted is 1.33" in said[0]


@pytest.mark.parametrize("stable", [False, None])
def test_nothing_is_called_capable_that_is_not_stable(stable):
    said = " ".join(say_capability(told(bakes(200, 0.6), stable=stable)))
    assert "what it can do is not known" in said
    assert "Cpk" not in said
    assert "Ppk = " in said


def test_the_share_outside_has_its_interval_and_what_was_seen():
    values = bakes(60, 1.3)
    values[4] = 39.0
    said = say_outside(told(values))
    assert "40 to 48 mm" in said
    assert "1 of 60 readings was." in said
    assert "Fewer than 0.01 %" in say_outside(told(bakes(200, 0.3)))
    assert "at least 40 mm" in say_outside(told(values, Specification(response="x", unit="mm", lower=40)))


def test_a_mean_past_its_limit_is_said_so():
    said = say_verdict(told(bakes(40, 1.0, mean=49.5)))
    assert "lies beyond the nearer limit, 48 mm" in said


def test_batches_that_differ_are_named_with_both_spreads():
    random = np.random.Generator(np.random.PCG64(3))
    values = 44 + random.standard_normal((25, 1)) + 0.5 * random.standard_normal((25, 4))
    said = " ".join(say_capability(told(values)))
    assert "Batches differ by more than their pieces do" in said
    assert "Ppk over batches = " in said


def test_lopsided_readings_name_their_scale_and_few_batches_are_few():
    skewed = np.exp(0.5 * np.random.Generator(np.random.PCG64(1)).standard_normal(100))
    said = " ".join(say_capability(told(skewed, Specification(response="pore size", unit="mm", upper=5))))
    assert "another scale (power" in said
    assert "standard deviations from" not in said
    assert "12 batches are few" in " ".join(say_capability(told(bakes(12))))


def test_numbers_are_written_as_the_reader_wishes():
    with writing(decimal=","):
        assert "wanted is 1,33" in say_verdict(told(bakes(40)))
