"""Do second-order surfaces and screenings agree with the books?

Sources stand in the JSON beside each data set: the 13-run central composite of Montgomery, Design
and Analysis of Experiments, ch. 11; a made-up Box-Behnken of loaf volume; a made-up definitive
screening (design of Jones & Nachtsheim 2011). All digits: R 4.2.2.
"""

import pytest

SURFACES = {
    "ccd": ("response_surface/ccd_yield_13run", "yield", ["x1", "x2"]),
    "bbd": ("response_surface/bbd_loaf_volume", "volume", ["hydration", "mix_min", "proof_min"]),
}


def named(term):
    """ "I(x1^2)" -> "x1^2"."""
    return term.removeprefix("I(").removesuffix(")") if term.startswith("I(") else term


@pytest.mark.parametrize("name", SURFACES)
def test_a_surface_has_the_published_coefficients_and_lack_of_fit(analyse, name):
    case, response, amounts = SURFACES[name]
    answer = analyse(case, response, amounts=amounts, model="quadratic")
    expected = answer.expected
    coefficients = {each.term: each for each in answer.result.coefficients}
    for term, numbers in expected["coef"].items():
        if term == "(Intercept)":
            continue
        found = coefficients[named(term)]
        assert found.estimate == pytest.approx(numbers["Estimate"], rel=1e-9), term
        assert found.se == pytest.approx(numbers["Std. Error"], rel=1e-6), term
        assert found.p == pytest.approx(numbers["Pr(>|t|)"], rel=1e-5), term
    assert answer.result.residual.sd == pytest.approx(expected["sigma"], rel=1e-9)
    assert answer.result.residual.r_squared == pytest.approx(expected["r2"], rel=1e-9)
    assert answer.result.residual.press == pytest.approx(expected["press"], rel=1e-9)
    assert answer.result.residual.r_squared_foretold == pytest.approx(expected["pred_r2"], rel=1e-9)
    lack = next(check for check in answer.result.checks if check.check == "lack of fit").facts
    assert (lack["df"], lack["df_error"]) == (expected["lack_of_fit"]["df"], expected["lack_of_fit"]["pure_df"])
    assert lack["f"] == pytest.approx(expected["lack_of_fit"]["F"], rel=1e-6)
    assert lack["p"] == pytest.approx(expected["lack_of_fit"]["p"], rel=1e-6)


@pytest.mark.parametrize("name", SURFACES)
def test_terms_in_turn_add_up_to_the_published_parts(analyse, name):
    # First order, bends and pairs are at right angles but for the bends among themselves, so the
    # sums of squares of type 1 add up to the published sequential parts whatever their order.
    case, response, amounts = SURFACES[name]
    answer = analyse(case, response, amounts=amounts, model="quadratic", squares=1)
    parts = {"first_order": 0.0, "pure_quadratic": 0.0, "two_way": 0.0}
    for test in answer.result.tests:
        kind = "pure_quadratic" if test.term.endswith("^2") else "two_way" if ":" in test.term else "first_order"
        parts[kind] += test.sum_sq
    for kind, total in parts.items():
        assert total == pytest.approx(answer.expected[kind]["SS"], rel=1e-6), kind


def test_bends_are_told_with_their_interval(analyse):
    case, response, amounts = SURFACES["bbd"]
    answer = analyse(case, response, amounts=amounts, model="quadratic")
    bend = next(f for f in answer.result.evidence if f.kind == "bend" and f.variables == ("hydration",))
    expected = answer.expected["coef"]["I(hydration^2)"]
    assert bend.size == pytest.approx(-expected["Estimate"], rel=1e-9)
    assert bend.low < -expected["Estimate"] < bend.high
    assert bend.p == pytest.approx(expected["Pr(>|t|)"], rel=1e-4)


def test_single_effects_of_a_definitive_screening_are_judged_by_what_is_left_over(analyse):
    amounts = [f"x{i}" for i in range(1, 7)]
    answer = analyse("screening_designs/dsd_6_volume", "y", amounts=amounts, model="main effects")
    coefficients = {each.term: each for each in answer.result.coefficients}
    for term, numbers in answer.expected["main_effects"].items():
        if term != "(Intercept)":
            assert coefficients[term].estimate == pytest.approx(numbers["Estimate"], abs=1e-9)
            assert coefficients[term].se == pytest.approx(numbers["Std. Error"], rel=1e-6)
    assert answer.result.residual.df == 6
    assert answer.result.residual.sd == pytest.approx(answer.expected["sigma_main"], rel=1e-9)


def test_the_surface_of_the_two_that_matter(analyse):
    answer = analyse("screening_designs/dsd_6_volume", "y", amounts=["x1", "x3"], model="quadratic")
    expected = answer.expected["quadratic_x1_x3"]
    coefficients = {each.term: each for each in answer.result.coefficients}
    for term, numbers in expected["coef"].items():
        if term != "(Intercept)":
            assert coefficients[named(term)].estimate == pytest.approx(numbers["Estimate"], abs=1e-9)
            assert coefficients[named(term)].se == pytest.approx(numbers["Std. Error"], rel=1e-6)
    assert answer.result.residual.sd == pytest.approx(expected["sigma"], rel=1e-9)
