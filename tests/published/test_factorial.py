"""Do two-level effects, Lenth's margins and aliases agree with the books?

Sources stand in the JSON beside each data set: Montgomery, Design and Analysis of Experiments,
ch. 6 and 8 (filtration rate and its half fraction); Box, Hunter & Hunter, Statistics for
Experimenters (pilot plant); Taback 2022 (cookies, CC BY 4.0); Lenth 1989; alias tables by group
arithmetic from the generators of the NIST/SEMATECH e-Handbook 5.3.3.4.7. All digits: R 4.2.2.
"""

from itertools import product

import numpy as np
import pandas as pd
import pytest

from analysis.linear import factor_model
from analysis.linear.two_level import half_normal
from analysis.questions import Factor, Question, Response


def term(word, names=None):
    """ "AB" -> "A:B", with longer names when given."""
    return ":".join((names or {}).get(letter, letter) for letter in word)


COOKIE = {"B": "butter", "S": "sugar", "P": "powder"}
LENTH = {
    "filtration_2k4": ("factorial/filtration_2k4", "y", list("ABCD"), None),
    "cookie_2k3": ("baking_trials/cookie_2k3_powder", "taste", list(COOKIE.values()), COOKIE),
}


@pytest.mark.parametrize("name", LENTH)
def test_unreplicated_effects_and_lenth(analyse, name):
    case, response, amounts, names = LENTH[name]
    answer = analyse(case, response, amounts=amounts)
    expected = answer.expected
    for word, effect in expected["effects"].items():
        assert answer.effects[term(word, names)].effect == pytest.approx(effect, abs=1e-9)
        line = answer.tests[term(word, names)]
        assert line.sum_sq == pytest.approx(expected["ss"][word], abs=1e-9)
        assert (line.p, line.value, line.df_error) == (None, None, None)
    assert len(answer.effects) == len(expected["effects"])
    one = next(iter(answer.effects.values()))
    lenth = expected["lenth"]
    assert (one.pse, one.margin, one.simultaneous_margin) == pytest.approx(
        (lenth["PSE"], lenth["ME"], lenth["SME"]), rel=1e-9
    )
    active = [t for t, e in answer.effects.items() if e.low > 0 or e.high < 0]
    assert active == [term(word, names) for word in lenth["active_ME"]]
    assert answer.checks()["saturated"].facts["effects"] == len(expected["effects"])
    assert answer.result.reasons["tests"]
    assert answer.result.residual.mean_sq is None


def test_filtration_published_effects(analyse):
    answer = analyse("factorial/filtration_2k4", "y", amounts=list("ABCD"))
    for word, effect in answer.expected["published_effects"].items():
        assert answer.effects[term(word)].effect == pytest.approx(effect, abs=5e-4)


@pytest.mark.parametrize("name", LENTH)
def test_half_normal_points(analyse, name):
    case, response, amounts, _ = LENTH[name]
    answer = analyse(case, response, amounts=amounts)
    points = half_normal([effect.effect for effect in answer.result.effects])
    given = answer.expected["half_normal"]
    assert [size for _, size, _ in points] == pytest.approx(given["abs_effect"], abs=1e-9)
    assert [quantile for _, _, quantile in points] == pytest.approx(given["quantile_half_normal"], rel=1e-9)


def test_half_fraction_names_each_effect_by_its_simplest_alias(analyse):
    answer = analyse("factorial/filtration_half_fraction_2k4_1", "y", amounts=list("ABCD"))
    expected = answer.expected
    assert {t: e.effect for t, e in answer.effects.items()} == pytest.approx(
        {term(word): effect for word, effect in expected["estimates"].items()}, abs=1e-9
    )
    assert dict(answer.result.aliases) == {term(word): term(alias) for word, alias in expected["alias"].items()}
    lenth = expected["lenth"]
    assert answer.effects["A"].margin == pytest.approx(lenth["ME"], rel=1e-9)
    assert answer.effects["A"].simultaneous_margin == pytest.approx(lenth["SME"], rel=1e-9)


def test_half_fraction_projected_on_three_factors_is_a_full_design(analyse):
    answer = analyse("factorial/filtration_half_fraction_2k4_1", "y", amounts=list("ACD"))
    expected = {term(word): effect for word, effect in answer.expected["projection_ACD"].items()}
    assert {t: e.effect for t, e in answer.effects.items()} == pytest.approx(expected, abs=1e-9)
    assert answer.result.aliases == ()


def test_pilot_plant_with_replicates(analyse):
    answer = analyse("factorial/pilot_plant_2k3_replicated", "y", amounts=list("TCK"), order=3)
    expected = answer.expected
    assert answer.result.residual.mean_sq == pytest.approx(expected["s2"], rel=1e-9)
    for word, effect in expected["effects"].items():
        found = answer.effects[term(word)]
        assert found.effect == pytest.approx(effect, abs=1e-9)
        assert (found.high - found.low) / 2 == pytest.approx(2.306004135 * expected["se_effect"], rel=1e-8)  # t(8)
        assert found.pse is None
        assert answer.tests[term(word)].p == pytest.approx(expected["p"][word], rel=1e-8)
        assert answer.tests[term(word)].sum_sq == pytest.approx(expected["anova"][term(word)]["Sum.Sq"], abs=1e-9)


def test_centre_points_show_a_bend_that_all_amounts_share(analyse):
    amounts = ["hydration", "proof_time", "oven_temp", "yeast"]
    answer = analyse("factorial/loaf_half_fraction_centre", "volume", amounts=amounts)
    bend = answer.checks()["curvature"].facts
    assert bend["value"] == pytest.approx(answer.expected["F_curvature"], rel=1e-9)
    assert bend["p"] == pytest.approx(answer.expected["p_curvature"], rel=1e-9)
    assert bend["factors"] == tuple(amounts)
    sizes = {f.variables[0]: f.size for f in answer.result.evidence if f.kind == "effect"}
    assert sizes == pytest.approx({name: answer.expected["effects"][name] for name in amounts}, rel=1e-9)


def test_centre_points_are_the_error_and_the_bend_is_a_term_of_its_own(analyse):
    amounts = ["hydration", "proof_time", "oven_temp", "yeast"]
    answer = analyse("factorial/loaf_half_fraction_centre", "volume", amounts=amounts)
    expected, result = answer.expected, answer.result
    assert (result.residual.df, result.residual.mean_sq) == pytest.approx((expected["df"], expected["mse_pure"]))
    bend = answer.tests["curvature"]
    assert bend.sum_sq == pytest.approx(expected["ss_curvature"], rel=1e-9)
    assert bend.p == pytest.approx(expected["p_curvature"], rel=1e-9)
    pairs = {"hp_oy": amounts[:2], "ho_py": [amounts[0], amounts[2]], "hy_po": [amounts[0], amounts[3]]}
    assert len(answer.effects) == len(expected["effects"]) == 7
    for word, effect in expected["effects"].items():
        found = answer.effects[":".join(pairs.get(word, [word]))]
        assert found.effect == pytest.approx(effect, rel=1e-9)
        assert found.high - found.effect == pytest.approx(3.182446305284263 * expected["se_effect"], rel=1e-9)  # t(3)
    assert "curvature" not in {variable for finding in result.evidence for variable in finding.variables}
    low = next(m for m in result.means if m.factor == "yeast" and m.level == "-1" and not m.at)
    assert low.mean == pytest.approx(result.coefficients[0].estimate - expected["effects"]["yeast"] / 2, rel=1e-12)


@pytest.mark.parametrize("name", ["alias_frac_2k5_2", "alias_frac_2k6_2", "alias_frac_2k7_4"])
def test_alias_chains_of_regular_fractions(name):
    import json
    from pathlib import Path

    expected = json.loads((Path(__file__).parent / f"factorial/{name}.json").read_text())["expected"]
    letters = "ABCDEFG"[: expected["factors"]]
    basic = [letter for letter in letters if letter not in expected["generators"]]
    frame = pd.DataFrame(list(product([-1.0, 1.0], repeat=len(basic))), columns=basic)
    for letter, word in expected["generators"].items():
        frame[letter] = frame[list(word)].prod(axis=1)
    frame["y"] = np.random.default_rng(4).normal(size=len(frame))
    frame = frame.assign(bake=[str(i) for i in range(len(frame))], order=range(len(frame)), readings=1)
    response = Response(name="y")
    factors = tuple(Factor(name=letter, kind="amount") for letter in letters)
    result = factor_model(frame, response, Question(factors=factors, responses=(response,)))
    chains = {chain[0]: set(chain[1:]) for chain in result.aliases}
    for letter, aliases in expected["main_effect_aliases_up_to_3fi"].items():
        assert chains.get(letter, set()) == {term(word) for word in aliases}
    assert len(result.tests) == expected["runs"] - 1
