"""Tails and quantiles: printed tables, the general distribution objects digit for digit, and what is not loaded."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from analysis.dose_response import tails

DFS = (1, 2, 3.7, 11, 250)


def test_printed_tables() -> None:
    # NIST/SEMATECH e-Handbook 1.3.6.7: upper critical values of F (5 %), t (97.5 %) and chi-squared (95 %).
    assert tails.f_quantile(0.95, 1, 10) == pytest.approx(4.965, abs=5e-4)
    assert tails.f_above(4.103, 2, 10) == pytest.approx(0.05, abs=5e-5)
    assert tails.t_quantile(0.95, 10) == pytest.approx(2.228, abs=5e-4)
    assert 2 * tails.t_above(2.228, 10) == pytest.approx(0.05, abs=5e-5)
    assert tails.chi_squared_quantile(0.95, 5) == pytest.approx(11.070, abs=5e-4)
    assert tails.chi_squared_above(11.070, 5) == pytest.approx(0.05, abs=5e-5)


@pytest.mark.parametrize("df", DFS)
@pytest.mark.parametrize("value", [0.0, 1e-9, 0.3, 2.0, 40.0, 1e9])
def test_digits_of_the_general_distributions(df: float, value: float) -> None:
    from scipy import stats

    share = 1 - np.exp(-1 - value / 10)
    assert [tails.f_above(value, other, df) for other in DFS] == [stats.f.sf(value, other, df) for other in DFS]
    assert tails.squares_of_t_above(np.array([value]), np.array([df]))[0] == stats.f.sf(value, 1, df)
    assert tails.t_above(value, df) == stats.t.sf(value, df)
    assert tails.chi_squared_above(value, df) == stats.chi2.sf(value, df)
    if share < 1:
        assert tails.f_quantile(share, 1, df) == stats.f.ppf(share, 1, df)
        assert tails.t_quantile(share, df) == stats.t.ppf(0.5 + share / 2, df)
        assert tails.chi_squared_quantile(share, df) == stats.chi2.ppf(share, df)


def test_ends() -> None:
    assert tails.f_above(-1.0, 2, 9) == 1.0
    assert tails.f_above(np.inf, 2, 9) == 0.0
    assert tails.t_above(np.inf, 9) == 0.0


def test_a_dose_curve_loads_no_general_distributions() -> None:
    asked = "import sys; import analysis.dose_response.model; print('scipy.stats' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "False"
