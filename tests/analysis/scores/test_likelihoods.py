"""Are the gradients exact, and is the integral over groups what it says?"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expit

from analysis.scores.climbing import climb
from analysis.scores.data import Data
from analysis.scores.fitting import fit, fixed_top
from analysis.scores.separation import endless, firth, looks_endless
from analysis.scores.shared import Kin, Shared


def drawn(seed, *, n=60, groups=8, scores=4):
    chance = np.random.Generator(np.random.PCG64(seed))
    x = chance.standard_normal((n, 2))
    codes = chance.integers(0, groups, n)
    hidden = x @ [0.8, -0.4] + chance.standard_normal(groups)[codes] + chance.logistic(size=n)
    y = np.digitize(hidden, np.linspace(-1.5, 1.5, scores - 1)).astype(float)
    return Data(y=y, x=x, w=np.ones(n), values=tuple(range(1, scores + 1)), kin=(Kin("day", codes, groups),))


def slope_by_differences(value, at, step=1e-5):
    found = []
    for i in range(len(at)):
        ends = []
        for side in (1, -1):
            near = at.copy()
            near[i] += side * step
            ends.append(value(near))
        found.append((ends[0] - ends[1]) / (2 * step))
    return np.array(found)


@pytest.mark.parametrize("link", ["logit", "probit"])
@pytest.mark.parametrize("extra", [{}, {"nominal": (0,)}, {"scale": (1,)}, {"nominal": (1,), "scale": (0,)}])
def test_fixed_derivatives_are_exact(link, extra):
    data = drawn(1)
    problem = Data(y=data.y, x=data.x, w=data.w, values=data.values, link=link).problem(**extra)
    at = np.concatenate([data.start(problem.width), [0.2] * len(extra.get("scale", ()))])
    at = at + np.random.Generator(np.random.PCG64(2)).normal(0, 0.03, len(at))
    _, slope, bend = problem.likelihood(at)
    assert slope == pytest.approx(slope_by_differences(lambda p: problem.likelihood(p)[0], at), abs=1e-6)
    for i in range(len(at)):
        column = slope_by_differences(lambda p, i=i: problem.likelihood(p)[1][i], at)
        assert bend[i] == pytest.approx(column, abs=1e-5)


@pytest.mark.parametrize("kinds", [1, 2])
def test_laplace_and_quadrature_have_exact_gradients(kinds):
    data = drawn(3)
    other = Kin("assessor", np.arange(60) % 7, 7)
    shared = Shared(data.problem(), (*data.kin, other)[:kinds])
    at = np.concatenate([fixed_top(data).params, [0.8, 0.5][:kinds]])
    ways = [shared.laplace, shared.quadrature] if kinds == 1 else [shared.laplace]
    for way in ways:
        assert way(at)[1] == pytest.approx(slope_by_differences(lambda p, way=way: way(p)[0], at), abs=1e-6)


def test_counts_have_exact_gradients():
    chance = np.random.Generator(np.random.PCG64(4))
    codes = np.arange(40) % 8
    data = Data(
        y=chance.poisson(3, 40).astype(float), x=chance.standard_normal((40, 1)), w=np.ones(40), values=(),
        kin=(Kin("day", codes, 8),), exposure=np.full(40, 2.0),
    )  # fmt: skip
    shared = Shared(data.problem(), data.kin)
    at = np.concatenate([fixed_top(data).params, [0.4]])
    for way in (shared.laplace, shared.quadrature):
        assert way(at)[1] == pytest.approx(slope_by_differences(lambda p, way=way: way(p)[0], at), abs=1e-6)


def test_quadrature_is_the_integral():
    # Each group's integral by adaptive integration, yes and no with a random day.
    data = drawn(5, n=30, groups=5, scores=2)
    at = np.array([0.3, 0.5, -0.2, 1.3])
    shared = Shared(data.problem(), data.kin)
    total = 0.0
    for group in range(5):
        mine = data.kin[0].codes == group

        def chance_of(c, mine=mine):
            share = expit(data.x[mine] @ at[1:3] + at[3] * c - at[0])
            both = np.where(data.y[mine] == 1, share, 1 - share)
            return float(np.prod(both) * np.exp(-c * c / 2) / np.sqrt(2 * np.pi))

        total += np.log(quad(chance_of, -12, 12, epsabs=1e-13)[0])
    assert shared.quadrature(at, 30)[0] == pytest.approx(total, abs=1e-9)
    assert shared.quadrature(at, 10)[0] == pytest.approx(total, abs=1e-4)
    assert abs(shared.laplace(at)[0] - total) < 0.2


def test_no_spread_between_groups_is_the_boundary():
    chance = np.random.Generator(np.random.PCG64(8))
    y = np.tile([0.0, 1.0, 2.0], 20)
    data = Data(
        y=y,
        x=chance.standard_normal((60, 1)),
        w=np.ones(60),
        values=(1, 2, 3),
        kin=(Kin("day", np.arange(60) // 6, 10),),
    )
    found = fit(data)
    assert found.boundary == ("day",)
    assert found.loglik == pytest.approx(fixed_top(data).value)


def test_endless_effects_are_found_and_held_finite():
    x = np.repeat([0.0, 1.0], 8)[:, None]
    y = np.array([0, 1, 0, 1, 1, 0, 1, 0, 2, 2, 2, 2, 2, 2, 2, 2], float)
    data = Data(y=y, x=x, w=np.ones(16), values=(1, 2, 3))
    assert looks_endless(data, fixed_top(data))
    direction = endless(data)
    assert direction[2] > 0
    held = firth(data)
    assert held.reached
    assert 2 < held.params[2] < 10
    mixed = Data(y=np.array([0, 1, 2, 1, 0, 2, 1, 2] * 2, float), x=x, w=np.ones(16), values=(1, 2, 3))
    assert endless(mixed) is None


def test_climbing_says_when_there_is_no_top():
    top = climb(lambda p: (float(p[0]), np.ones(1), np.zeros((1, 1))), np.zeros(1), steps=5)
    assert not top.reached
