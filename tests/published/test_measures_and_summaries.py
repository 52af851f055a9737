"""Indices of the bench, and analyses of variance from printed tables."""

import pytest

from analysis.errors import TrialDataError
from analysis.linear.summaries import anova_from_summaries, n_implied
from analysis.measures import (
    baking_loss_percent,
    batter_specific_gravity,
    specific_volume_ml_g,
    spread_ratio,
    symmetry_index,
    uniformity_index,
    volume_index,
)


def test_template_indices():
    # AACC 10-91, formulas: B 40, C 46, D 38 mm.
    assert volume_index(40, 46, 38) == 124
    assert symmetry_index(40, 46, 38) == 14
    assert uniformity_index(40, 38) == 2


def test_baking_loss_and_spread():
    assert baking_loss_percent(400, 352) == 12.0  # definition
    assert spread_ratio(78.0, 9.75) == 8.0  # AACC 10-50
    assert specific_volume_ml_g(600, 240) == 2.5
    assert batter_specific_gravity(90, 100) == 0.9


@pytest.mark.parametrize("measure", [baking_loss_percent, batter_specific_gravity, specific_volume_ml_g, spread_ratio])
def test_nothing_is_divided_by_nothing(measure):
    with pytest.raises(TrialDataError):
        measure(0.0, 0.0)


# Rice muffins with chestnut powder, Korean J. Food Preserv. 31(2):256, Table 3: five levels, printed "n = 7".
MUFFINS = {
    "moisture": ([26.33, 25.16, 24.55, 22.86, 21.52], [0.47, 0.53, 0.14, 0.54, 0.73], 40.432, 40.38, 94.2),
    "specific volume": ([2.38, 2.40, 2.20, 2.15, 1.84], [0.02, 0.03, 0.09, 0.09, 0.10], 28.098, 27.86, 65.0),
    "baking loss": ([13.44, 13.16, 13.73, 11.92, 11.28], [0.19, 0.35, 0.20, 0.57, 0.81], 14.233, 14.13, 33.0),
}


@pytest.mark.parametrize("name", MUFFINS)
def test_f_from_a_printed_table(name):
    means, sds, printed, with_three, with_seven = MUFFINS[name]
    three, seven = anova_from_summaries(means, sds, 3), anova_from_summaries(means, sds, 7)
    assert three.f == pytest.approx(with_three, rel=1e-3)
    assert seven.f == pytest.approx(with_seven, rel=2e-3)
    assert (three.df, three.df_error) == (4, 10)
    assert three.f == pytest.approx(printed, rel=0.01)
    assert seven.f != pytest.approx(printed, rel=0.5)
    assert n_implied(printed, means, sds) == pytest.approx(3.0, abs=0.05)


@pytest.mark.parametrize(
    ("means", "sds", "n"),
    [([1.0], [0.1], 3), ([1.0, 2.0], [0.1], 3), ([1.0, 2.0], [0.1, 0.1], 1), ([1.0, 2.0], [0, 0], 3)],
)
def test_tables_that_say_nothing_are_refused(means, sds, n):
    with pytest.raises(TrialDataError):
        anova_from_summaries(means, sds, n)
