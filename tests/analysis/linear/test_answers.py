"""Is an answer the same however the table was written, and does it say what it should?"""

import subprocess
import sys

import numpy as np
import pytest

from analysis.linear.two_level import lenth


@pytest.fixture
def trial():
    """Unbalanced: soda by acid over two days, 20 bakes."""
    rng = np.random.default_rng(8)
    soda = rng.choice([1.0, 2.0, 4.0], 20)
    acid, day = rng.choice(["lemon", "yogurt", "tartar"], 20), rng.choice(["mon", "tue"], 20)
    y = 30 + 3 * soda + 4 * (acid == "lemon") + 2 * (day == "tue") + rng.normal(size=20)
    return {"soda": soda, "acid": acid, "day": day, "y": y}


def ask(answer, columns, **asked):
    return answer(columns, amounts=["soda"], categories=["acid"], blocks=("day",), **asked)


def by_variables(result):
    return {finding.variables: finding for finding in result.evidence}


def test_the_order_of_rows_changes_nothing(answer, trial):
    plain = ask(answer, trial)
    shuffle = np.random.default_rng(1).permutation(20)
    mixed = ask(answer, {name: np.asarray(values)[shuffle] for name, values in trial.items()})
    assert [t.p for t in mixed.tests] == pytest.approx([t.p for t in plain.tests], rel=1e-9)
    for variables, finding in by_variables(plain).items():
        other = by_variables(mixed)[variables]
        assert abs(other.size) == pytest.approx(abs(finding.size), rel=1e-9)
        assert other.high - other.low == pytest.approx(finding.high - finding.low, rel=1e-9)


def test_the_names_of_levels_change_nothing(answer, trial):
    plain = ask(answer, trial)
    names = {"lemon": "3", "yogurt": "a:b", "tartar": "C(x) * 2"}
    renamed = ask(answer, {**trial, "acid": [names[level] for level in trial["acid"]]})
    assert [t.p for t in renamed.tests] == pytest.approx([t.p for t in plain.tests], rel=1e-12)
    assert {m.mean for m in renamed.means} == {m.mean for m in plain.means}
    assert by_variables(renamed)["acid",].facts["to"] in names.values()


def test_other_units_scale_the_answer_and_leave_the_verdicts(answer, trial):
    plain = ask(answer, trial, matters=2.0)
    inches = ask(answer, {**trial, "y": trial["y"] / 25.4 + 7, "soda": trial["soda"] * 1000}, matters=2.0 / 25.4)
    assert [t.p for t in inches.tests] == pytest.approx([t.p for t in plain.tests], rel=1e-8)
    for variables, finding in by_variables(plain).items():
        other = by_variables(inches)[variables]
        assert (other.size, other.low, other.high) == pytest.approx(
            tuple(value / 25.4 for value in (finding.size, finding.low, finding.high)), rel=1e-8
        )
        assert (other.matters, other.direction) == (finding.matters, finding.direction)
    slope = {c.term: c.estimate for c in inches.coefficients}["soda"]
    assert slope == pytest.approx({c.term: c.estimate for c in plain.coefficients}["soda"] / 25.4 / 1000, rel=1e-8)


def test_balanced_squares_add_up_in_all_three_types(answer):
    rng = np.random.default_rng(2)
    columns = {"a": np.repeat(list("xyz"), 8), "b": np.tile(np.repeat(["p", "q"], 4), 3), "y": rng.normal(size=24)}
    total = float(((columns["y"] - columns["y"].mean()) ** 2).sum())
    for kind in (1, 2, 3):
        result = answer(columns, categories=["a", "b"], squares=kind)
        assert sum(t.sum_sq for t in result.tests) + result.residual.sum_sq == pytest.approx(total, rel=1e-12)


def test_type_one_squares_add_up_without_balance(answer, trial):
    result = ask(answer, trial, squares=1)
    total = float(((trial["y"] - trial["y"].mean()) ** 2).sum())
    assert sum(t.sum_sq for t in result.tests) + result.residual.sum_sq == pytest.approx(total, rel=1e-12)


def test_bakes_are_split_into_fitted_and_residual(answer, trial):
    result = ask(answer, trial)
    assert len(result.points) == 20
    for point in result.points:
        assert point.fitted + point.residual == pytest.approx(point.observed, rel=1e-12)
        assert set(point.settings) == {"soda", "acid"}
        assert point.block in {"mon", "tue"}
    assert sum(point.residual**2 for point in result.points) == pytest.approx(result.residual.sum_sq, rel=1e-9)


def test_a_difference_that_matters_decides_between_yes_no_and_unsure(answer):
    columns = {"soda": [1.0, 2.0] * 10, "y": [10.0, 15.0] * 10 + np.random.default_rng(6).normal(scale=0.5, size=20)}
    verdicts = [answer(columns, amounts=["soda"], matters=m).evidence[0].matters for m in (2.0, 5.0, 20.0, None)]
    assert verdicts == ["yes", "unsure", "no", "yes"]


def test_an_interaction_is_the_change_of_an_effect(answer):
    rng = np.random.default_rng(7)
    soda, acid = np.tile([1.0, 2.0, 3.0], 8), np.repeat(["lemon", "yogurt"], 12)
    y = np.where(acid == "lemon", 2.0 * soda, -1.0 * soda) + rng.normal(scale=0.01, size=24)
    found = by_variables(answer({"soda": soda, "acid": acid, "y": y}, amounts=["soda"], categories=["acid"]))
    finding = found["soda", "acid"]
    assert finding.kind == "interaction"
    assert finding.size == pytest.approx(-6, abs=0.05)  # soda 1 -> 3: +4 with lemon, -2 with yogurt
    assert finding.low < -6 < finding.high
    assert finding.facts["effect_at_from"] == pytest.approx(4, abs=0.05)
    assert finding.facts["effect_at_to"] == pytest.approx(-2, abs=0.05)


def test_levels_are_compared_within_the_other_factor_only_when_the_interaction_shows(answer):
    rng = np.random.default_rng(9)
    a, b = np.repeat(["x", "z"], 12), np.tile(["p", "q"], 12)
    for gap, sliced in ((0.0, False), (8.0, True)):
        y = gap * (a == "x") * (b == "p") + rng.normal(size=24)
        result = answer({"a": a, "b": b, "y": y}, categories=["a", "b"])
        assert any(comparison.at for comparison in result.comparisons) is sliced
        assert len([mean for mean in result.means if mean.at]) == 4


def test_whole_plot_and_bake_errors_join_in_the_mean_of_a_split_plot(answer):
    # Balanced: the mean of a level baked within every whole plot has variance
    # (MS_whole + (b - 1) MS_bakes) / n, with Satterthwaite's df.
    rng = np.random.default_rng(10)
    load, oven = np.repeat(np.arange(6), 3), np.repeat([180.0, 200.0] * 3, 3)
    columns = {"oven": oven, "flour": np.tile(list("abc"), 6), "load": load}
    columns["y"] = rng.normal(size=6)[load] * 3 + rng.normal(size=18)
    result = answer(columns, amounts=["oven"], categories=["flour"], group=("load",))
    oven_line = next(t for t in result.tests if t.term == "oven")
    assert (oven_line.df_error, oven_line.stratum) == (4, "load")
    whole, bakes = oven_line.mean_sq / oven_line.value, result.residual.mean_sq
    mean = next(m for m in result.means if m.factor == "flour" and not m.at)
    variance = (whole + 2 * bakes) / 18
    assert mean.se == pytest.approx(np.sqrt(variance), rel=1e-9)
    parts = (whole / 18, 4), (2 * bakes / 18, 8)
    assert mean.df == pytest.approx(variance**2 / sum(part**2 / df for part, df in parts), rel=1e-9)


def test_uneven_whole_plots_go_by_estimated_variances(answer):
    rng = np.random.default_rng(10)
    load = np.repeat(np.arange(6), 3)[:-1]
    columns = {"oven": np.repeat([180.0, 200.0] * 3, 3)[:-1], "flour": np.tile(list("abc"), 6)[:-1], "load": load}
    columns["y"] = rng.normal(size=17)
    result = answer(columns, amounts=["oven"], categories=["flour"], group=("load",))
    assert (result.model.estimation, result.model.df_method) == ("REML", "Kenward-Roger")
    tests = {test.term: test for test in result.tests}
    assert {name: test.stratum for name, test in tests.items()} == {
        "oven": "load",
        "flour": "bakes",
        "oven:flour": "bakes",
    }
    assert tests["oven"].df_error < 5 < tests["flour"].df_error  # six loads, two levels of heat
    assert [line.group for line in result.variances] == ["load", "residual"]


def test_lenth_needs_three_effects_that_are_not_all_nothing():
    assert lenth([1.0, 2.0]) is None
    assert lenth([0.0, 0.0, 0.0, 5.0]) is None
    assert lenth([1.0, -1.0, 1.0]).pse == pytest.approx(1.5)


def test_an_answer_loads_no_slow_library():
    slow = "{'statsmodels', 'scipy.stats', 'scipy.optimize', 'scipy.linalg'}"
    code = f"import sys, analysis.linear; print(sorted({slow} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
