"""Do covariates, weights, scales, unequal scatter and robust fits keep their promises?

Metamorphic: other units, shuffled rows, renamed levels, doubled readings. Simulated: rates and coverage
(100 draws; ``CRUMBWISE_LARGE=1`` draws 3,000). Hostile: odd tables are answered or refused, never broken.
"""

import math
import os
from dataclasses import asdict

import numpy as np
import pandas as pd
import pytest

from analysis.errors import NotPossible, TrialDataError
from analysis.linear import factor_model
from analysis.linear.answering import one_answer
from analysis.linear.least_squares import least_squares
from analysis.linear.robust import huber_fit
from analysis.questions import Factor, Margin, Question, Response

LARGE = bool(os.environ.get("CRUMBWISE_LARGE"))
DRAWS = 3000 if LARGE else 100
# At most 6.5 % wrong, and two standard errors of a rate seen in so many draws.
MOST_WRONG = 0.065 + 2 * math.sqrt(0.065 * 0.935 / DRAWS)
WISHES = {
    "covariate": {"covariates": ("warmth",)},
    "lots": {"covariates": ("lot",)},
    "weights": {"weights": "pieces"},
    "log": {"transform": "log"},
    "square root": {"transform": "square root"},
    "reciprocal": {"transform": "reciprocal"},
    "unequal": {"unequal_spread": True},
    "robust": {"robust": True},
    "all": {"covariates": ("warmth",), "weights": "pieces", "transform": "log", "robust": True, "unequal_spread": True},
}


def table(seed=7, bakes=24):
    rng = np.random.default_rng(seed)
    acid, flour = np.arange(bakes) % 2, np.arange(bakes) // 2 % 3
    warmth = np.round(rng.normal(22, 2, bakes), 1)
    rise = (40 + 6 * acid + 3 * flour + 0.8 * (warmth - 22)) * np.exp(rng.normal(0, 0.05, bakes))
    return {
        "acid": np.array(["yogurt", "lemon"])[acid],
        "flour": np.array(["rye", "spelt", "wheat"])[flour],
        "warmth": warmth,
        "lot": np.array(["a", "b"])[rng.integers(0, 2, bakes)],
        "pieces": rng.integers(1, 5, bakes).astype(float),
        "y": np.round(rise, 2),
    }


def ask(frame_of, columns, *, whole=True, matters=None, margin=None, categories=("acid", "flour"), **asked):
    amounts = [name for name in ("warmth", "pieces", "soda") if name in columns]
    frame = columns if isinstance(columns, pd.DataFrame) else frame_of(columns, amounts)
    response = Response(name="y", unit="mm", matters=matters, margin=margin)
    factors = tuple(Factor(name=name, kind="category") for name in categories)
    question = Question(factors=factors, responses=(response,), **asked)
    return (factor_model if whole else one_answer)(frame, response, question)


def sizes(result):
    return {f.variables: (f.size, f.low, f.high) for f in result.evidence if "times" not in f.facts}


def times(result):
    """Interactions of logarithms, which are ratios and have no unit."""
    return {finding.variables: finding.facts["times"] for finding in result.evidence if "times" in finding.facts}


@pytest.mark.parametrize("wish", WISHES)
def test_another_unit_says_the_same_in_that_unit(frame_of, wish):
    columns = table()
    plain = ask(frame_of, columns, **WISHES[wish])
    inches = ask(frame_of, {**columns, "y": columns["y"] / 25.4}, **WISHES[wish])
    for line, other in zip(plain.tests, inches.tests, strict=True):
        assert (line.value, line.df_error, line.p) == pytest.approx((other.value, other.df_error, other.p), rel=1e-6)
    for mean, other in zip(plain.means, inches.means, strict=True):
        assert (mean.mean, mean.low, mean.high) == pytest.approx(
            tuple(25.4 * value for value in (other.mean, other.low, other.high)), rel=1e-6
        )
    for key, (size, low, high) in sizes(plain).items():
        scaled = tuple(25.4 * value for value in sizes(inches)[key])
        assert (size, low, high) == pytest.approx(scaled, rel=1e-4, abs=1e-6)
    assert len(times(plain)) == (wish in ("log", "all"))
    for key, found in times(plain).items():
        assert times(inches)[key] == pytest.approx(found, rel=1e-6)


@pytest.mark.parametrize("wish", WISHES)
def test_neither_the_order_of_rows_nor_the_names_of_levels_matter(frame_of, wish):
    frame = frame_of(table(), ["warmth", "pieces"])
    plain = ask(frame_of, frame, **WISHES[wish])
    mixed = frame.sample(frac=1, random_state=5).reset_index(drop=True)
    mixed["acid"] = mixed["acid"].cat.rename_categories({"yogurt": "Joghurt", "lemon": "Zitrone"})
    other = ask(frame_of, mixed, **WISHES[wish])
    assert {line.term: line.p for line in other.tests} == pytest.approx(
        {line.term: line.p for line in plain.tests}, rel=1e-6
    )
    for key, found in sizes(plain).items():
        assert sizes(other)[key] == pytest.approx(found, rel=1e-4, abs=1e-6)
    for key, found in times(plain).items():
        assert times(other)[key] == pytest.approx(found, rel=1e-6)


def test_the_mean_of_two_pieces_weighs_like_two(frame_of):
    columns = table()
    whole = ask(frame_of, {**columns, "pieces": np.full(24, 2.0)}, weights="pieces")
    plain = ask(frame_of, columns)
    for line, other in zip(whole.tests, plain.tests, strict=True):
        assert line.p == pytest.approx(other.p, rel=1e-9)
    # Twice the weight, twice the mean square: that of single pieces.
    assert whole.residual.mean_sq == pytest.approx(2 * plain.residual.mean_sq, rel=1e-9)


def test_an_even_covariate_changes_no_mean_and_narrows_every_interval(frame_of):
    columns = table()
    columns["warmth"] = np.tile(np.repeat([-1.0, 1.0], 6), 2) + 20  # as often warm as cool at every treatment
    columns["y"] = columns["y"] + 2 * columns["warmth"]
    plain, beside = ask(frame_of, columns), ask(frame_of, columns, covariates=("warmth",))
    for mean, adjusted in zip(plain.means, beside.means, strict=True):
        assert adjusted.mean == pytest.approx(mean.mean, rel=1e-9)
        assert adjusted.high - adjusted.low < mean.high - mean.low
    change = next(c for part in beside.parts if part.key == "what_changes" for c in part.changes)
    assert change.what == "covariate"
    assert [one.size_then for one in change.findings] == pytest.approx([f.size for f in plain.evidence])


def test_a_covariate_that_the_treatments_moved_is_pointed_at(frame_of):
    columns = table()
    columns["warmth"] = np.where(columns["acid"] == "lemon", 25.0, 20.0) + np.arange(24) % 5 / 10
    found = {check.check: check for check in ask(frame_of, columns, covariates=("warmth",)).checks}
    assert found["covariate"].verdict == "look here"
    assert found["covariate"].facts["p"] < 0.001
    sound = {check.check: check for check in ask(frame_of, table(), covariates=("warmth",)).checks}
    assert sound["covariate"].verdict == "fine"


@pytest.mark.parametrize(
    ("wish", "change", "says"),
    [
        ({"transform": "log"}, lambda y: y - y.min(), "above 0"),
        ({"transform": "logit"}, lambda y: y, "between 0 and 1"),
        ({"transform": "square root"}, lambda y: y - y.mean(), "0 or more"),
    ],
)
def test_a_scale_without_room_for_a_reading_is_refused_in_words(frame_of, wish, change, says):
    columns = table()
    with pytest.raises(NotPossible, match=says):
        ask(frame_of, {**columns, "y": change(columns["y"])}, **wish)


def test_a_weight_of_nothing_is_refused(frame_of):
    columns = table()
    columns["pieces"][3] = 0.0
    with pytest.raises(TrialDataError, match="above 0"):
        ask(frame_of, columns, weights="pieces")


def test_groups_do_not_go_with_the_robust_fit(frame_of):
    with pytest.raises(NotPossible, match="do not go together"):
        ask(frame_of, table(), group=("lot",), robust=True)


def test_an_interval_on_the_scale_and_its_undoing_leave_out_0_together(frame_of):
    rng = np.random.default_rng(12)
    for seed in range(8):
        columns = table(seed)
        columns["y"] = np.exp(rng.normal(3, 0.3, 24) + 0.2 * (columns["acid"] == "lemon"))
        for scale in ("log", "square root", "reciprocal"):
            found = next(
                f for f in ask(frame_of, columns, whole=False, transform=scale).evidence if len(f.variables) == 1
            )
            assert (found.low > 0 or found.high < 0) == (found.facts["p_difference"] < 0.05)


def test_logarithms_give_ratios_whose_size_is_exact(frame_of):
    columns = table()
    columns["y"] = np.where(columns["acid"] == "lemon", 50.0, 40.0) * np.exp(np.tile([-0.02, -0.02, 0.02, 0.02], 6))
    found = ask(frame_of, columns, transform="log", categories=("acid",), matters=5.0).evidence[0]
    assert abs(math.log(found.facts["ratio"][0])) == pytest.approx(math.log(50 / 40))
    assert abs(found.size) == pytest.approx(10, rel=1e-9)
    assert found.matters == "yes"


def test_a_margin_is_judged_in_the_unit_whatever_the_scale(frame_of):
    columns = table()
    for margin, limits in ((Margin(low=-3, high=3), (-3, 3)), (Margin(low=0.9, high=1.1, ratio=True), (0.9, 1.1))):
        one = ask(frame_of, columns, transform="log", categories=("acid",), margin=margin).equivalence[0]
        assert one.equivalent == (
            "yes"
            if limits[0] < one.low and one.high < limits[1]
            else "no"
            if one.high <= limits[0] or one.low >= limits[1]
            else "unsure"
        )
        means = {m.level: m.mean for m in ask(frame_of, columns, transform="log", categories=("acid",)).means}
        truth = means[one.a] / means[one.b] if margin.ratio else means[one.a] - means[one.b]
        assert one.estimate == pytest.approx(truth, rel=1e-9)
        assert one.low < one.estimate < one.high


def test_a_wild_bake_hardly_moves_the_robust_answer(frame_of):
    columns = table()
    truth = sizes(ask(frame_of, columns))[("acid",)][0]
    columns["y"][4] += 60
    plain, robust = ask(frame_of, columns), ask(frame_of, columns, robust=True)
    assert abs(sizes(plain)[("acid",)][0] - truth) > 4
    assert abs(sizes(robust)[("acid",)][0] - truth) < 1.5
    down = next(check for check in robust.checks if check.check == "robust").facts["bakes"]
    assert down[0][0] == "5"
    assert down[0][1] < 0.2


def test_pseudo_values_are_fitted_by_just_the_robust_coefficients():
    rng = np.random.default_rng(3)
    x = np.column_stack([np.ones(20), rng.normal(size=20)])
    y = x @ [3.0, 1.5] + rng.standard_t(2, 20)
    found = huber_fit(least_squares(x, y))
    assert least_squares(x, found.pseudo).coefficients == pytest.approx(found.coefficients, abs=1e-8)
    assert found.weights.max() == 1.0
    assert found.weights.min() < 1.0


def test_odd_bakes_are_left_out_one_by_one_and_together(frame_of):
    columns = table()
    columns["y"][4] += 25
    columns["y"][11] += 20
    result = ask(frame_of, columns, matters=2.0)
    odd = next(check for check in result.checks if check.check == "odd bakes").facts["bakes"]
    assert set(odd) == {"5", "12"}
    changes = next(part for part in result.parts if part.key == "what_changes").changes
    assert [(change.what, set(change.names)) for change in changes[:3]] == [
        ("bake", {odd[0]}),
        ("bake", {odd[1]}),
        ("bakes", set(odd)),
    ]
    kept = frame_of(columns, ["warmth", "pieces"]).drop(index=[4, 11]).reset_index(drop=True)
    without = sizes(ask(frame_of, kept, matters=2.0))
    for one in changes[2].findings:
        assert (one.size_then, one.low_then, one.high_then) == pytest.approx(without[one.variables])
    assert len(changes[2].findings) == len(result.evidence)


def test_sizes_are_compared_between_the_same_levels_only(frame_of):
    """Without the logarithm other levels lie furthest apart: their size is not set beside the first."""
    rng = np.random.default_rng(3)
    acid, oven = np.arange(36) % 3, np.arange(36) // 3 % 2
    y = np.exp(2 + np.array([0.0, 0.4, 0.9])[acid] + oven + rng.normal(0, 0.05, 36))
    columns = {"acid": np.array(["a", "b", "c"])[acid], "flour": np.array(["rye", "spelt"])[oven], "y": y}
    logs, plain = (ask(frame_of, columns, transform=scale) for scale in ("log", None))
    (change,) = next(part for part in logs.parts if part.key == "what_changes").changes
    for now, one in zip(logs.evidence, change.findings, strict=True):
        then = next(other for other in plain.evidence if other.variables == now.variables)
        same = all(
            {now.facts.get(f"{side}from"), now.facts.get(f"{side}to")}
            == {then.facts.get(f"{side}from"), then.facts.get(f"{side}to")}
            for side in ("", "by_")
        ) and now.facts.get("of") == then.facts.get("of")
        assert one.matters_then == then.matters
        if one.size_then is None:
            assert not same
        else:
            assert abs(one.size_then) == pytest.approx(abs(then.size))
            if one.size is None:  # an interaction of logarithms is a ratio of ratios
                assert now.facts["times"]
            else:
                assert np.sign(one.size_then) == np.sign(one.size)  # levels in the same order on both scales


def test_two_odd_bakes_that_hide_each_other_are_both_named(frame_of):
    columns = table(bakes=36)
    columns["y"] = 50 + np.random.default_rng(8).normal(0, 1, 36)
    columns["y"][0] += 9
    columns["y"][12] += 9  # the same treatment: each makes the other look usual
    columns["y"][24] += 9
    found = next(check for check in ask(frame_of, columns, order=1).checks if check.check == "odd bakes")
    assert {"1", "13", "25"} <= set(found.facts["bakes"])


RNG = np.random.default_rng(2026)
ACID, FLOUR = np.tile(["p", "q"], 8), np.repeat(["u", "v"], 8)


def draw(kind):
    """(columns, wish) of a trial of 16 bakes in which the acid does nothing."""
    noise = RNG.normal(size=16)
    columns = {"acid": ACID, "flour": FLOUR}
    if kind == "covariate":
        warmth = RNG.normal(20, 2, 16)
        return {**columns, "warmth": warmth, "y": 10 + 0.5 * warmth + noise}, {"covariates": ("warmth",)}
    if kind == "HC2":
        return {**columns, "y": 10 + noise * np.where(ACID == "p", 1, 3)}, {"unequal_spread": True, "order": 1}
    if kind == "Welch":
        return {**columns, "y": 10 + noise * np.where(ACID == "p", 1, 3)}, {"unequal_spread": True}
    if kind == "auto":
        return {**columns, "y": np.exp(3 + 0.3 * noise)}, {"transform": "auto"}
    return {**columns, "y": 10 + noise * np.where(RNG.random(16) < 0.1, 5, 1)}, {"robust": True}


@pytest.mark.parametrize("kind", ["covariate", "HC2", "Welch", "auto", "robust"])
def test_nothing_is_found_where_nothing_is_and_intervals_cover(frame_of, kind):
    wrong = missed = 0
    for _ in range(DRAWS):
        columns, wish = draw(kind)
        found = ask(frame_of, columns, whole=False, **wish)
        wrong += next(line.p for line in found.tests if line.term == "acid") < 0.05
        effect = next(f for f in found.evidence if f.variables == ("acid",))
        missed += not effect.low <= 0 <= effect.high
    assert wrong / DRAWS <= MOST_WRONG
    assert missed / DRAWS <= MOST_WRONG
    assert missed / DRAWS >= 0.02 if LARGE else missed > 0


def numbers(value):
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list | tuple):
        return [number for each in value for number in numbers(each)]
    return [value] if isinstance(value, float) else []


def test_hostile_tables_are_answered_or_refused_without_a_broken_number(frame_of):
    rng = np.random.default_rng(99)
    scales = [None, "auto", "log", "square root", "reciprocal", "reciprocal square root", "logit"]
    answered, refused = 0, []
    for _ in range(4000 if LARGE else 100):
        bakes = int(rng.integers(3, 26))
        columns = {
            "acid": rng.integers(0, int(rng.integers(1, 5)), bakes).astype(str),
            "flour": rng.integers(0, 3, bakes).astype(str),
            "warmth": np.round(rng.normal(20, 2, bakes), int(rng.integers(0, 2))),
            "lot": rng.integers(0, 2, bakes).astype(str),
            "pieces": rng.integers(1, 5, bakes).astype(float),
            "y": 10 + np.round(rng.normal(0, 1, bakes) * rng.choice([0, 0.1, 1, 3]), 1) - 9.9 * (rng.random() < 0.2),
        }
        columns["y"][0] += 50 * (rng.random() < 0.2)
        asked = {
            "transform": scales[int(rng.integers(len(scales)))],
            "robust": bool(rng.random() < 0.3),
            "unequal_spread": bool(rng.random() < 0.3),
            "covariates": tuple(name for name in ("warmth", "lot") if rng.random() < 0.3),
            "weights": "pieces" if rng.random() < 0.3 else None,
            "order": int(rng.integers(1, 3)),
            "squares": int(rng.integers(1, 4)),
        }
        try:
            result = ask(frame_of, columns, matters=1.0, **asked)
        except (NotPossible, TrialDataError) as refusal:
            refused.append(refusal)
            continue
        answered += 1
        fields = {name: value for name, value in vars(result).items() if name != "predictor"}
        plain = [
            asdict(one)
            for value in fields.values()
            if isinstance(value, tuple)
            for one in value
            if hasattr(one, "__dataclass_fields__")
        ]
        assert all(math.isfinite(number) for number in numbers(plain))
    assert all(refusal.try_this for refusal in refused)
    assert answered > 50
