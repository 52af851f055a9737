"""How surely would the bakes predict? Checked against integration and published designs."""

import numpy as np
import pytest

from analysis.designs.columns import Column
from analysis.designs.model import build_model
from analysis.designs.plan import lay_out
from analysis.designs.prediction import moments, prediction, rows_of
from analysis.designs.requests import DesignFactor, DesignRequest
from analysis.designs.treatments import Treatments

SODA = DesignFactor(name="soda", kind="amount", low=0, high=2)
FAT = DesignFactor(name="fat", kind="amount", low=10, high=30)
ACID = DesignFactor(name="acid", kind="category", levels=("yogurt", "lemon juice", "cream of tartar"))


def request(kind, *factors, **more):
    return DesignRequest(kind=kind, factors=factors, seed=2, **more)


def test_a_two_level_factorial_predicts_its_centre_with_one_over_n():
    # x'(X'X)^-1 x = (1 + x1^2 + x2^2 + x1^2 x2^2) / N for an orthogonal 2^2 with its interaction; mean 16/9 / N.
    plan = lay_out(request("full factorial", SODA, FAT, replicates=2))
    assert plan.design.prediction.average_variance == pytest.approx((1 + 1 / 3) ** 2 / 8)
    assert plan.design.prediction.largest_variance == pytest.approx(4 / 8)


def test_one_category_predicts_each_level_with_one_over_its_bakes():
    plan = lay_out(request("completely randomised", ACID, replicates=4))
    assert plan.design.prediction.average_variance == pytest.approx(1 / 4)
    assert plan.design.prediction.largest_variance == pytest.approx(1 / 4)


def test_the_average_is_that_of_many_points_in_the_box():
    factors = (SODA, FAT, ACID)
    plan = lay_out(request("full factorial", *factors, levels=3, replicates=1, block="day", block_size=27))
    columns = {
        "soda": Column(name="soda", kind="amount", settings=(0.0, 1.0, 2.0), low=0, high=2),
        "fat": Column(name="fat", kind="amount", settings=(10.0, 20.0, 30.0), low=10, high=30),
        "acid": Column(name="acid", kind="category", settings=ACID.levels),
    }
    runs = [run.settings for run in plan.runs]
    model = build_model(columns, runs, [{"day": str(at % 3)} for at in range(27)], model="quadratic", fixed=["day"])
    rng = np.random.Generator(np.random.PCG64(3))
    points = [
        {"soda": rng.uniform(0, 2), "fat": rng.uniform(10, 30), "acid": ACID.levels[rng.integers(3)]}
        for _ in range(20_000)
    ]
    rows = rows_of(model, points)
    assert np.abs(rows.T @ rows / len(rows) - moments(model)).max() < 0.02
    made = Treatments(treatments=tuple(runs), settings={name: column.settings for name, column in columns.items()})
    found = prediction(model, made)
    variances = np.einsum("ij,jk,ik->i", rows, np.linalg.inv(model.matrix.T @ model.matrix), rows)
    assert found.average_variance == pytest.approx(variances.mean(), rel=0.02)
    assert found.largest_variance >= variances.max() - 1e-9
