"""In split plots and strips, are settings inside them told from what the plots themselves do?"""

from itertools import product

import numpy as np
import pandas as pd
import pytest

from analysis.linear import factor_model
from analysis.questions import Factor, Question, Response

RISE = Response(name="rise")
AMOUNTS = (Factor(name="oven", kind="amount"), Factor(name="soda", kind="amount"))


def surface(oven, soda):
    o = (oven - 180) / 20
    return 50 + 2 * o - 1.5 * o**2 + 3 * soda - soda**2 + 0.4 * o * soda


def frame(rows, rng, sd=(1e-4, 1e-4)):
    """rows of (oven, soda, load): the surface with an error for each load and each bake."""
    table = pd.DataFrame(rows, columns=["oven", "soda", "load"])
    loads = {load: rng.normal(0, sd[0]) for load in table["load"].unique()}
    noise = table["load"].map(loads) + rng.normal(0, sd[1], len(table))
    table["rise"] = surface(table["oven"], table["soda"]) + noise
    return table.assign(bake=[str(i) for i in range(len(table))], order=range(len(table)), readings=1)


def even():
    plots = [(oven, f"{oven:g}/{replicate}") for replicate in range(4) for oven in (160.0, 180.0, 200.0)]
    return [(oven, soda, load) for oven, load in plots for soda in (1.0, 2.0, 4.0)]


def uneven():
    """Hot loads got more soda: between loads, oven and soda go along with each other."""
    rows = []
    for replicate, oven in product(range(6), (160.0, 200.0)):
        doses = (1.0, 2.0, 4.0) if oven < 180 else (2.0, 4.0, 4.0)
        rows += [(oven, soda, f"{oven:g}/{replicate}") for soda in doses]
    return rows


def ask(table, model="quadratic", **more):
    more = more or {"group": ("load",)}
    return factor_model(table, RISE, Question(factors=AMOUNTS, responses=(RISE,), model=model, **more))


@pytest.fixture
def rng():
    return np.random.Generator(np.random.PCG64(8))


def test_means_are_those_of_the_surface(rng):
    # Doses that lie unevenly and squares have a mean of their own in every plot, which is not the plots' doing.
    found = ask(frame(even(), rng))
    means = {(mean.factor, float(mean.level)): mean.mean for mean in found.means if not mean.at}
    average = 7 / 3
    for oven in (160.0, 180.0, 200.0):
        assert means["oven", oven] == pytest.approx(surface(oven, average), abs=0.01)
    for soda in (1.0, 2.0, 4.0):
        assert means["soda", soda] == pytest.approx(surface(180.0, soda), abs=0.01)
    effect = next(f for f in found.evidence if f.kind == "effect" and f.variables == ("oven",))
    assert effect.size == pytest.approx(surface(200, average) - surface(160, average), abs=0.01)


def test_coefficients_of_even_plots_are_those_of_plain_least_squares(rng):
    table = frame(even(), rng, sd=(1.0, 1.0))
    found = {each.term: each.estimate for each in ask(table).coefficients}
    o, s = table["oven"] - 180, table["soda"] - 2.5
    x = np.column_stack([np.ones(len(table)), o, s, o**2, s**2, o * s])
    plain = np.linalg.lstsq(x, table["rise"], rcond=None)[0]
    named = ["intercept", "oven", "soda", "oven^2", "soda^2", "oven:soda"]
    assert [found[name] for name in named] == pytest.approx(list(plain))


def test_what_differs_within_plots_does_not_pass_for_the_plots(rng):
    table = frame(uneven(), rng)
    table["rise"] = 50 + 2 * (table["oven"] - 180) / 20 + 3 * table["soda"]
    table["rise"] += rng.normal(0, 1e-3, len(table))
    found = ask(table, model="main effects")
    assert not any(check.check == "uneven whole plots" for check in found.checks)
    effect = next(f for f in found.evidence if f.variables == ("oven",))
    assert effect.size == pytest.approx(4, abs=0.01)  # 10 if the soda of the hot loads counted as heat


@pytest.mark.parametrize("rows", [even(), uneven()], ids=["even", "uneven"])
def test_intervals_cover_the_truth(rows, rng):
    covered = {"oven": 0, "soda": 0}
    truth = {"oven": 4.0, "soda": 9.0}
    for _ in range(300):
        table = frame(rows, rng, sd=(2.0, 1.0))
        table["rise"] += 50 + 2 * (table["oven"] - 180) / 20 + 3 * table["soda"] - surface(table["oven"], table["soda"])
        for finding in ask(table, model="main effects").evidence:
            (name,) = finding.variables
            covered[name] += finding.low <= truth[name] <= finding.high
    for name, count in covered.items():
        assert abs(count / 300 - 0.95) < 3 * (0.95 * 0.05 / 300) ** 0.5, name


def test_strips_of_amounts_give_the_means_of_the_surface(rng):
    rows = [
        (oven, soda, f"{day}/{oven:g}", f"{day}/{soda:g}", str(day))
        for day in range(3)
        for oven, soda in product((160.0, 180.0, 200.0), (1.0, 2.0, 4.0))
    ]
    table = pd.DataFrame(rows, columns=["oven", "soda", "load", "batch", "day"])
    table["rise"] = surface(table["oven"], table["soda"]) + rng.normal(0, 1e-4, len(table))
    table = table.assign(bake=[str(i) for i in range(len(table))], order=range(len(table)), readings=1)
    table["day"] = pd.Categorical(table["day"], ordered=True)
    found = ask(table, strips=("load", "batch"), blocks=("day",))
    strata = {test.term: test.stratum for test in found.tests}
    assert strata["oven^2"] == "load"
    assert strata["soda^2"] == "batch"
    assert strata["oven:soda"] == "bakes"
    means = {(mean.factor, float(mean.level)): mean.mean for mean in found.means if not mean.at}
    assert means["soda", 4.0] == pytest.approx(surface(180.0, 4.0), abs=0.01)
    assert means["oven", 200.0] == pytest.approx(surface(200.0, 7 / 3), abs=0.01)
    assert max(abs(point.residual) for point in found.points) < 0.01
