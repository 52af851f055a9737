"""Do powers and sizes agree with the tables? Sources stand in the JSON of each case (R 4.2.2; Cohen 1992)."""

import json
from pathlib import Path

import pytest

from analysis.sizes import powers
from analysis.sizes.solving import bakes_for, up

HERE = Path(__file__).parent / "power"
TABLES = json.loads((HERE / "t_anova_prop_share.json").read_text())["expected"]
COHEN = json.loads((HERE / "effects_and_cohen_share.json").read_text())["expected"]
EQUIVALENCE = json.loads((HERE / "paired_height_tost.json").read_text())["expected"]


def test_power_of_two_means_pairs_and_several_means():
    assert powers.two_means(20, 1, 1) == pytest.approx(TABLES["t_two_sample_n20_d1_sd1_power"], rel=1e-4)
    assert powers.paired(15, 0.8, 1) == pytest.approx(TABLES["t_paired_n15_d.8_power"], rel=1e-4)
    assert powers.several_means(15, 3, 0.4) == pytest.approx(TABLES["anova_k3_f.4_n15_power"], rel=1e-6)


def test_bakes_of_each_for_a_power():
    assert bakes_for(lambda n: powers.two_means(n, 1, 1), 0.9) == pytest.approx(
        TABLES["t_two_sample_power.90_d1_n"], rel=1e-4
    )
    assert bakes_for(lambda n: powers.two_means(n, 0.5, 1), 0.8) == pytest.approx(TABLES["t_d.5_power.8_n"], rel=1e-4)
    # Variance 1 between four means and 3 within: f = sqrt(3 / 4 * 1 / 3), as R's power.anova.test has it.
    f = (1 / 3 * 3 / 4) ** 0.5
    found = bakes_for(lambda n: powers.several_means(n, 4, f), 0.8)
    assert found == pytest.approx(TABLES["anova_4groups_between1_within3_power.8_n"], rel=1e-4)
    found = bakes_for(lambda n: powers.several_means(n, 4, 0.25), 0.8)
    assert found == pytest.approx(TABLES["anova_k4_f.25_power.8_n"], rel=1e-4)


@pytest.mark.parametrize("d", ["d.2", "d.5", "d.8"])
def test_cohens_table_for_two_means(d):
    found = bakes_for(lambda n: powers.two_means(n, float(d[1:]), 1), 0.8)
    assert found == pytest.approx(COHEN["t_n_unrounded"][d], rel=1e-5)
    assert up(found) == COHEN["t_n"][d]


@pytest.mark.parametrize("case", ["k3_f.1", "k3_f.25", "k3_f.4", "k4_f.4"])
def test_cohens_table_for_several_means(case):
    kinds, f = int(case[1]), float(case.split("_f")[1])
    found = bakes_for(lambda n: powers.several_means(n, kinds, f), 0.8)
    assert found == pytest.approx(COHEN["anova_n_unrounded"][case], rel=1e-5)
    assert up(found) == COHEN["anova_n"][case]


def test_effects_of_two_level_factors():
    for case, (size, bakes, df) in {"E1.5_N8_s1_df4": (1.5, 8, 4), "E1_N16_s1_df10": (1, 16, 10)}.items():
        assert powers.effect(bakes, size, 1, df) == pytest.approx(COHEN["factorial"][case], rel=1e-5)
    assert powers.effect(32, 1, 1, 24) == pytest.approx(COHEN["factorial"]["E1_N32_s1_df24"], rel=1e-5)
    replicates = next(r for r in range(2, 20) if powers.effect(8 * r, 1, 1, 8 * (r - 1)) >= 0.9)
    assert replicates == COHEN["replicates_2k3_E1_s1_power90"]


def test_what_is_set_for_whole_plots():
    assert powers.whole_plot_effect(4, 6, 3, 1, 2) == pytest.approx(COHEN["split_plot_w4_m6_E3_sw1_s2"], rel=1e-5)


def test_shares_by_the_usual_approximation():
    assert powers.shares_normal(50, 0.5, 0.75) == pytest.approx(TABLES["prop_.5_.75_n50_power"], rel=1e-4)
    found = bakes_for(lambda n: powers.shares_normal(n, 0.5, 0.75), 0.9)
    assert found == pytest.approx(TABLES["prop_.5_.75_power.9_n"], rel=1e-4)


def test_power_to_show_equivalence():
    expected = EQUIVALENCE["power"]
    assert powers.equivalent(15, 1, 1) == pytest.approx(expected["n15_sd1_margin1"], rel=1e-6)
    assert powers.equivalent(15, 1, 1, 0.3) == pytest.approx(expected["n15_sd1_margin1_true0.3"], rel=1e-6)
    first = next(n for n in range(2, 100) if powers.equivalent(n, 1, 1) >= 0.8)
    assert first == expected["first_n_power80_sd1_margin1"]
