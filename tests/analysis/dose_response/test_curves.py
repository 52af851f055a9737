"""What is read off several curves at once: potency, differences, targets, blocks."""

from contextlib import suppress

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.optimize import minimize

from analysis.dose_response import dose_model
from analysis.errors import AnalysisError, NotPossible
from analysis.linear.finite import numbers
from analysis.questions import Factor, Question, Response

DOSES = (0.5, 1.0, 1.5, 2.0, 2.5)
ACIDS = ("lemon", "vinegar", "tartar")


def trial(curves, *, doses=DOSES, days=3, sd=0.5, day_sd=2.0, seed=1) -> pd.DataFrame:
    generator = np.random.Generator(np.random.PCG64(seed))
    shift = generator.normal(0, day_sd, days)
    rows = [
        (dose, acid, f"day {day}", curves[acid](dose) + shift[day] + generator.normal(0, sd))
        for day in range(days)
        for acid in curves
        for dose in doses
    ]
    frame = pd.DataFrame(rows, columns=["soda", "acid", "day", "rise"])
    frame = frame.sample(frac=1, random_state=seed).reset_index(drop=True)
    frame["acid"] = pd.Categorical(frame["acid"], categories=list(curves), ordered=True)
    frame["day"] = pd.Categorical(frame["day"], ordered=True)
    return frame.assign(bake=[str(i) for i in range(len(frame))], order=range(1, len(frame) + 1), readings=1)


def ask(frame, *, by="acid", shape=None, reference=None, **wanted):
    rise = Response(name="rise", unit="mm", **wanted)
    factors = (
        Factor(name="soda", kind="amount", unit="% flour"),
        Factor(name="acid", kind="category", reference=reference),
    )
    question = Question(factors=factors, responses=(rise,), blocks=("day",), bake="bake", shape=shape)
    return dose_model(frame, rise, question, dose="soda", by=by)


def found(family, kind, variables):
    return next(f for f in family.evidence if f.kind == kind and f.variables == variables)


def hump(ratio, top=60.0):
    return lambda dose: top - 9 * (ratio * dose - 1.6) ** 2


def test_stretched_curves_give_their_ratio():
    ratios = {"lemon": 1.0, "vinegar": 0.8, "tartar": 1.25}
    family = ask(trial({a: hump(r) for a, r in ratios.items()}), goal="maximise", matters=2.0)
    assert {p.level for p in family.dose.potency} == {"vinegar", "tartar"}
    for one in family.dose.potency:
        assert one.relative_to == "lemon"
        assert one.ratio == pytest.approx(ratios[one.level], rel=0.05)
        assert one.low < ratios[one.level] < one.high


def test_the_reference_level_is_the_one_that_was_named():
    family = ask(trial({"lemon": hump(1.0), "vinegar": hump(0.8)}), reference="vinegar", goal="maximise")
    (one,) = family.dose.potency
    assert (one.level, one.relative_to) == ("lemon", "vinegar")
    assert one.ratio == pytest.approx(1.25, rel=0.05)


def test_curves_of_other_heights_have_no_ratio():
    family = ask(trial({"lemon": hump(1.0), "vinegar": hump(1.0, top=80.0)}), goal="maximise")
    assert family.dose.potency == ()
    assert "stretch" in family.reasons["potency"]


def test_a_difference_of_height_is_told_from_one_of_form():
    family = ask(trial({"lemon": hump(1.0), "vinegar": hump(1.0, top=66.0)}), goal="maximise", matters=2.0)
    gap, differ = found(family, "effect", ("acid",)), found(family, "curves differ", ("soda", "acid"))
    assert (gap.facts["from"], gap.facts["to"]) == ("lemon", "vinegar")
    assert gap.low < 6.0 < gap.high
    assert gap.matters == "yes"
    assert differ.facts["p"] < 1e-6
    assert differ.facts["only_height"]
    assert differ.matters != "yes"


def test_the_extra_sum_of_squares_agrees_with_least_squares_of_another_hand():
    frame = trial({a: hump(r) for a, r in zip(ACIDS, (1.0, 0.9, 1.1), strict=True)}, sd=2.0)
    family = ask(frame, shape="quadratic")
    powers = np.stack([frame["soda"] ** p for p in range(3)], axis=1)
    day = pd.get_dummies(frame["day"], drop_first=True).to_numpy(dtype=float)
    acid = pd.get_dummies(frame["acid"]).to_numpy(dtype=float)
    separate = np.hstack([powers * acid[:, [i]] for i in range(3)])
    small = sm.OLS(frame["rise"], np.hstack([powers, day])).fit()
    large = sm.OLS(frame["rise"], np.hstack([separate, day])).fit()
    value, p, df = large.compare_f_test(small)
    facts = found(family, "curves differ", ("soda", "acid")).facts
    assert [facts["f"], facts["p"], facts["df"]] == pytest.approx([value, p, df], rel=1e-8)


def test_nonlinear_curves_with_uneven_blocks_reach_the_lowest_sum():
    curves = {a: lambda d, k=k: 40 - 14 * max(0.0, k - d) for a, k in zip(ACIDS, (1.3, 1.6, 1.9), strict=True)}
    frame = trial(curves, sd=1.0, seed=4).iloc[:-9].reset_index(drop=True)  # days are no longer even
    family = ask(frame, shape="linear-plateau")
    day = frame["day"].cat.codes.to_numpy()
    acid = frame["acid"].cat.codes.to_numpy()

    def rss(p):
        knee, top, slope = p[0:3][acid], p[3:6][acid], p[6:9][acid]
        shift = np.array([p[9], p[10], -p[9] - p[10]])[day]
        return float(((frame["rise"] - top - slope * np.minimum(frame["soda"] - knee, 0) - shift) ** 2).sum())

    start = np.concatenate([[c.parameters[k].estimate for c in family.dose.curves]
                            for k in ("breakpoint", "plateau", "slope")])  # fmt: skip
    ours = next(c.rss for c in family.dose.candidates if c.shape == "linear-plateau")
    generator = np.random.Generator(np.random.PCG64(1))
    others = [
        minimize(rss, np.concatenate([start * generator.uniform(0.8, 1.2, 9), [0, 0]]), method="Powell",
                 options={"maxiter": 20_000, "xtol": 1e-9, "ftol": 1e-12}).fun
        for _ in range(4)
    ]  # fmt: skip
    assert ours <= min(others) * (1 + 1e-7)
    assert min(others) <= ours * 1.02  # and the other hand got near, so that the bound means something


def test_a_target_is_met_where_the_line_crosses_it():
    curves = {"lemon": lambda d: 7.0 + 0.4 * (d - 1.5), "vinegar": lambda d: 7.1 + 0.4 * (d - 1.5)}
    family = ask(trial(curves, sd=0.02, day_sd=0.01), goal="target", target=7.2, matters=0.1)
    for curve, at in zip(family.dose.curves, (2.0, 1.75), strict=True):
        assert curve.optimum.low < at < curve.optimum.high
        assert curve.optimum.method == "inverse prediction"
        assert curve.recommended.low < at - 0.25 < curve.recommended.high
    best = found(family, "best dose", ("soda", "acid"))
    assert best.facts["meets_target_at"] == pytest.approx((family.dose.curves[0].optimum.dose,))


def test_without_blocks_a_target_interval_is_calibration_by_hand():
    # |mean(x) - target| = t se(x), solved for a straight line by the quadratic formula.
    x = np.repeat([1.0, 2, 3, 4, 5], 2)
    y = 2 + 0.5 * x + np.tile([0.05, -0.05], 5) * np.repeat([1, 2, 1, 2, 1], 2)
    frame = pd.DataFrame({"soda": x, "rise": y})
    rise = Response(name="rise", goal="target", target=3.4)
    question = Question(factors=(), responses=(rise,), shape="line")
    best = dose_model(frame, rise, question, dose="soda", by=None).dose.curves[0].optimum
    fit = sm.OLS(y, sm.add_constant(x)).fit()
    t = 2.306004135204166  # t(0.975; 8), tables
    c, (a, b) = fit.cov_params(), fit.params
    coefficients = [
        b**2 - t**2 * c[1, 1],
        2 * (a - 3.4) * b - 2 * t**2 * c[0, 1],
        (a - 3.4) ** 2 - t**2 * c[0, 0],
    ]
    assert [best.low, best.high] == pytest.approx(sorted(np.roots(coefficients)), rel=1e-4)
    assert best.dose == pytest.approx((3.4 - a) / b)


def test_a_minimum_is_the_best_when_less_is_wanted():
    frame = trial({"lemon": lambda d: 20 + 9 * (d - 1.4) ** 2})
    family = ask(frame, by=None, goal="minimise", matters=1.0)
    assert family.dose.curves[0].optimum.dose == pytest.approx(1.4, abs=0.1)
    up = ask(frame, by=None, goal="maximise", matters=1.0)
    assert up.dose.curves[0].optimum is None
    assert up.dose.curves[0].recommended.edge == "high"


def test_an_acid_baked_at_one_dose_is_named():
    frame = trial({"lemon": hump(1.0), "vinegar": hump(1.0)})
    frame = frame[(frame["acid"] == "lemon") | (frame["soda"] == 1.0)].reset_index(drop=True)
    with pytest.raises(NotPossible, match="vinegar"):
        ask(frame)


def test_a_dose_tied_to_the_day_is_refused():
    frame = trial({"lemon": hump(1.0)})
    frame["day"] = pd.Categorical(frame["soda"].astype(str), ordered=True)
    with pytest.raises(NotPossible, match="within each block"):
        ask(frame, by=None)


def hostile(seed: int) -> pd.DataFrame:
    """A small frame with something wrong, or merely odd, about it."""
    generator = np.random.Generator(np.random.PCG64(seed))
    n = int(generator.integers(2, 22))
    doses = generator.choice([-1.0, 0.0, 0.0, 1e-9, 0.5, 1.0, 2.0, 3.0, 1e6], n)
    if seed % 3:
        doses = generator.choice(DOSES, n)
    rise = generator.choice([0.0, 1.0, 1.0, -5.0, 1e-12, 1e9], n) if seed % 2 else generator.normal(5, 3, n)
    if seed % 5 == 0:
        rise = 3 + 2 * doses  # no scatter at all
    if seed % 7 == 0:
        rise = np.where(doses > 1, 4.0, 1.0)
    frame = pd.DataFrame({"soda": doses, "rise": rise})
    frame["acid"] = pd.Categorical(generator.choice(list(ACIDS[: 1 + seed % 3]), n))
    frame["day"] = pd.Categorical(generator.choice(["mon", "tue", "wed"], n))
    return frame.assign(bake=[str(i) for i in range(n)], order=range(1, n + 1), readings=1)


@pytest.mark.parametrize("batch", range(10))
def test_no_hostile_frame_gives_a_number_that_is_none(batch):
    answered = 0
    goals = ({"goal": "maximise", "matters": 1.0}, {"goal": "target", "target": 2.0}, {}, {"goal": "minimise"})
    for seed in range(batch * 30, batch * 30 + 30):
        family = None
        with suppress(AnalysisError):  # in words; anything else is our own mistake
            family = ask(hostile(seed), by="acid" if seed % 4 else None, **goals[seed % 4])
        if family is None:
            continue
        answered += 1
        assert all(np.isfinite(value) for _, value in numbers(family))
        for curve in family.dose.curves:
            good = curve.recommended
            if good is None:  # nothing does better than another
                assert family.dose.shape == "flat"
                continue
            assert good.low is None or good.low <= good.dose <= good.high
            assert good.dose <= good.as_good_to
    assert answered > 0
