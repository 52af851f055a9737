"""Does a dose analysis answer in its own shape, for one curve and for several, and refuse what cannot be?"""

import math
from contextlib import suppress

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.dose_response import dose_model
from analysis.errors import AnalysisError, NotPossible
from analysis.linear.finite import numbers
from analysis.questions import Factor, Question, Response

RISE = Response(name="rise", unit="mm", goal="maximise", matters=3.0)


def frame(doses, values, *, by=None, days=None) -> pd.DataFrame:
    made = pd.DataFrame({"dose": np.asarray(doses, dtype=float), "rise": np.asarray(values, dtype=float)})
    for name, labels in (("acid", by), ("day", days)):
        if labels is not None:
            made[name] = pd.Categorical(labels, categories=list(dict.fromkeys(labels)), ordered=True)
    return made.assign(bake=[str(i) for i in range(len(made))], order=range(1, len(made) + 1), readings=1)


def question(*, by=None, days=None, **given) -> Question:
    factors = [Factor(name="dose", kind="amount", unit="%")]
    if by:
        factors.append(Factor(name="acid", kind="category", levels=tuple(by)))
    return Question(factors=tuple(factors), responses=(RISE,), blocks=("day",) if days else (), bake="bake", **given)


def noisy(curve, doses, seed=1, spread=0.4):
    generator = np.random.Generator(np.random.PCG64(seed))
    return [curve(dose) + generator.normal(0, spread) for dose in doses]


DOSES = [d for d in (0.5, 1.0, 1.5, 2.0, 2.5, 3.0) for _ in range(3)]

TRUTHS = {
    "line": lambda d: 10 + 6 * d,
    "quadratic": lambda d: 50 - 9 * (d - 1.7) ** 2,
    "linear-plateau": lambda d: 40 - 12 * max(0.0, 1.6 - d),
    "flat": lambda d: 30.0,
}


@pytest.mark.parametrize("shape", TRUTHS)
def test_the_shape_the_bakes_came_from_is_chosen(shape):
    found = [
        dose_model(frame(DOSES, noisy(TRUTHS[shape], DOSES, seed)), RISE, question(), dose="dose", by=None).dose.shape
        for seed in range(8)
    ]
    assert found.count(shape) >= 6


def test_one_curve_for_each_acid():
    acids = ["lemon", "vinegar"] * len(DOSES)
    doses = [d for d in DOSES for _ in range(2)]
    values = [
        TRUTHS["quadratic"](d if acid == "lemon" else d + 0.5) + shift
        for (d, acid), shift in zip(
            zip(doses, acids, strict=True), np.tile([0.3, -0.2, 0.1, -0.3, 0.2, -0.1], 6), strict=True
        )
    ]
    family = dose_model(frame(doses, values, by=acids), RISE, question(by=["lemon", "vinegar"]), dose="dose", by="acid")
    best = {curve.level: curve.optimum.dose for curve in family.dose.curves}
    assert best["lemon"] == pytest.approx(1.7, abs=0.1)
    assert best["vinegar"] == pytest.approx(1.2, abs=0.1)
    terms = {test.term: test for test in family.tests}
    assert terms["dose:acid"].p < 0.001


def test_days_are_taken_out():
    days = ["mon", "tue", "wed"] * 6
    shift = {"mon": -20.0, "tue": 0.0, "wed": 20.0}
    values = [v + shift[day] for v, day in zip(noisy(TRUTHS["quadratic"], DOSES), days, strict=True)]
    family = dose_model(frame(DOSES, values, days=days), RISE, question(days=days), dose="dose", by=None)
    assert family.dose.curves[0].optimum.dose == pytest.approx(1.7, abs=0.1)
    assert family.residual.sd < 1.0


def test_units_only_change_the_scale():
    values = noisy(TRUTHS["quadratic"], DOSES)
    mm = dose_model(frame(DOSES, values), RISE, question(), dose="dose", by=None)
    in_grams = dose_model(frame([3 * d for d in DOSES], values), RISE, question(), dose="dose", by=None)
    assert in_grams.dose.shape == mm.dose.shape
    assert in_grams.dose.curves[0].optimum.dose == pytest.approx(3 * mm.dose.curves[0].optimum.dose, rel=1e-6)
    assert in_grams.tests[0].p == pytest.approx(mm.tests[0].p, rel=1e-6)


def test_the_order_of_the_rows_does_not_matter():
    made = frame(DOSES, noisy(TRUTHS["linear-plateau"], DOSES))
    shuffled = made.sample(frac=1, random_state=3).reset_index(drop=True)
    one = dose_model(made, RISE, question(), dose="dose", by=None)
    other = dose_model(shuffled, RISE, question(), dose="dose", by=None)
    assert one.dose.shape == other.dose.shape
    assert one.dose.curves[0].recommended.dose == pytest.approx(other.dose.curves[0].recommended.dose, rel=1e-6)


def test_a_best_at_the_edge_is_no_optimum():
    family = dose_model(frame(DOSES, noisy(TRUTHS["line"], DOSES)), RISE, question(shape="line"), dose="dose", by=None)
    (curve,) = family.dose.curves
    assert curve.optimum is None
    assert family.dose.edge == "high"
    assert curve.recommended.dose == pytest.approx(2.5, abs=0.05)  # 3 mm of 6 mm for each percent: half a percent down


@pytest.mark.parametrize(
    ("doses", "values", "given"),
    [
        ([1.0] * 6, [1, 2, 3, 4, 5, 6], {}),
        ([1, 2, 3, 4], [1, 2, 3, 4], {"shape": "logistic-4"}),
        ([1, 2], [1, 2], {}),
        (DOSES, noisy(TRUTHS["line"], DOSES), {"shape": "spline"}),
    ],
)
def test_what_cannot_be_answered_is_said(doses, values, given):
    with pytest.raises(AnalysisError) as refused:
        dose_model(frame(doses, values), RISE, question(**given), dose="dose", by=None)
    assert refused.value.try_this


def test_bakes_without_any_scatter_are_not_relied_on():
    doses = [1.0, 2.0, 3.0, 4.0, 5.0] * 2
    family = dose_model(frame(doses, [2 * d + 1 for d in doses]), RISE, question(), dose="dose", by=None)
    assert {check.check: check.verdict for check in family.checks}["no scatter"] == "do not rely"


def test_values_that_share_nearly_all_digits_are_not_called_the_same():
    doses = [1.0, 2.0, 3.0, 4.0, 5.0] * 2
    with pytest.raises(NotPossible, match="last digits"):
        dose_model(frame(doses, [1e12 + 0.1 * d for d in doses]), RISE, question(), dose="dose", by=None)


def test_a_constant_response_gets_no_test():
    with pytest.raises(NotPossible, match="the same"):
        dose_model(frame(DOSES, [30.0] * len(DOSES)), RISE, question(), dose="dose", by=None)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from([0.0, 0.5, 1.0, 2.0, 4.0, 8.0]), st.floats(-1e6, 1e6)), min_size=1, max_size=14)
)
def test_no_table_gives_a_number_that_is_none(rows):
    doses, values = zip(*rows, strict=True)
    family = None
    with suppress(AnalysisError):  # in words; anything else is our own mistake
        family = dose_model(frame(doses, values), RISE, question(), dose="dose", by=None)
    assert family is None or all(math.isfinite(value) for _, value in numbers(family))


def by_finding(own_effect: float, *, seed: int = 4):
    acids = ["lemon", "vinegar"] * len(DOSES)
    doses = [d for d in DOSES for _ in range(2)]
    generator = np.random.Generator(np.random.PCG64(seed))
    values = [
        TRUTHS["quadratic"](d) + (own_effect if acid == "vinegar" else 0) + generator.normal(0, 1.5)
        for d, acid in zip(doses, acids, strict=True)
    ]
    family = dose_model(frame(doses, values, by=acids), RISE, question(by=["lemon", "vinegar"]), dose="dose", by="acid")
    return next(f for f in family.evidence if f.kind == "effect" and f.variables == ("acid",))


def test_an_acid_that_does_nothing_is_seen_to_do_less_than_matters():
    """Averaged over the doses while the curves do not differ: 3 mm matter, and the interval stays inside."""
    verdicts = [by_finding(0.0, seed=seed).matters for seed in range(20)]
    assert verdicts.count("no") >= 16
    assert verdicts.count("yes") == 0


def test_an_acid_that_adds_the_same_at_every_dose_is_measured_over_all_of_them():
    found = [by_finding(8.0, seed=seed) for seed in range(20)]
    assert sum(f.low <= 8.0 <= f.high for f in found) >= 17
    assert [f.matters for f in found].count("yes") >= 18


def test_no_limit_of_a_dose_lies_below_none():
    """Doses near 0 and much scatter: Fieller's and the standard error's limits reached below 0."""
    doses = [d for d in (0.0, 0.2, 0.5, 1.0, 2.0, 3.0) for _ in range(3)]
    cut = 0
    for shape, curve in (
        ("quadratic", lambda d: 40 + 4 * d - 3.0 * d**2),
        ("log-logistic-4", lambda d: 20 + 30 * d / (0.15 + d)),
        ("logistic-4", lambda d: 20 + 30 / (1 + math.exp(-2 * (d - 0.2)))),
    ):
        for seed in range(6):
            with suppress(NotPossible):
                table = frame(doses, noisy(curve, doses, seed=seed, spread=4.0))
                family = dose_model(table, RISE, question(shape=shape), dose="dose", by=None)
                one = family.dose.curves[0]
                ends = [(each.dose, each.low) for each in one.effective if each.dose is not None]
                ends += [(one.optimum.dose, one.optimum.low)] if one.optimum else []
                ends += [(one.recommended.dose, one.recommended.low)] if one.recommended else []
                assert all(low is None or 0 <= low <= dose for dose, low in ends)
                cut += sum(name.endswith(" at 0") for name in family.reasons)
    assert cut > 5


def test_amounts_that_may_lie_below_none_keep_their_limits():
    """A coded amount: -1 is no less sensible than 1."""
    doses = [d - 0.2 for d in (0.0, 0.2, 0.5, 1.0, 2.0, 3.0) for _ in range(3)]
    reached = []
    for seed in range(6):
        table = frame(doses, noisy(lambda d: 40 + 4 * d - 3.0 * d**2, doses, seed=seed, spread=4.0))
        one = dose_model(table, RISE, question(shape="quadratic"), dose="dose", by=None).dose.curves[0]
        reached += [one.optimum.low] if one.optimum and one.optimum.low is not None else []
    assert min(reached) < 0
