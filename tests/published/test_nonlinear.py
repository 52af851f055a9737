"""Does the curve fitter reproduce certified nonlinear fits?

Source: NIST Statistical Reference Datasets, Nonlinear Regression (US government), with the
functions, starting values and certified figures as NIST gives them. Puromycin: Bates & Watts
1988, figures computed with R 4.2.2 nls (which stops at four to six digits). Difficulty as NIST grades it.
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.dose_response.fitting import fit_curve

HERE = Path(__file__).parent
exp = np.exp


def _cubic_ratio(x, b):
    return (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1 + b[4] * x + b[5] * x**2 + b[6] * x**3)


FUNCTIONS = {
    "misra1a": lambda x, b: b[0] * (1 - exp(-b[1] * x)),
    "chwirut2": lambda x, b: exp(-b[0] * x) / (b[1] + b[2] * x),
    "gauss1": lambda x, b: (
        b[0] * exp(-b[1] * x) + b[2] * exp(-((x - b[3]) ** 2) / b[4] ** 2) + b[5] * exp(-((x - b[6]) ** 2) / b[7] ** 2)
    ),
    "kirby2": lambda x, b: (b[0] + b[1] * x + b[2] * x**2) / (1 + b[3] * x + b[4] * x**2),
    "hahn1": _cubic_ratio,
    "mgh17": lambda x, b: b[0] + b[1] * exp(-x * b[3]) + b[2] * exp(-x * b[4]),
    "thurber": _cubic_ratio,
    "rat42": lambda x, b: b[0] / (1 + exp(b[1] - b[2] * x)),
}
LOWER = {"misra1a", "chwirut2", "gauss1"}


def case(folder, name):
    expected = json.loads((HERE / folder / f"{name}.json").read_text())["expected"]
    return pd.read_csv(HERE / folder / f"{name}.csv"), expected


def digits(found, certified):
    """The smallest number of correct significant digits; NIST prints 11."""
    found, certified = np.asarray(found), np.asarray(certified)
    return float(np.min(-np.log10(np.maximum(np.abs(found / certified - 1), 1e-16))))


@pytest.mark.parametrize("name", FUNCTIONS)
def test_certified_figures_from_both_starts(name):
    data, expected = case("regression", f"nist_{name}")
    starts = [list(expected[s].values()) for s in ("start1", "start2")]
    fit = fit_curve(FUNCTIONS[name], data["x"], data["y"], starts)
    needed = 8 if name in LOWER else 6
    assert fit.converged
    assert fit.df == expected["df"]
    assert digits(fit.parameters, list(expected["coef"].values())) >= needed
    assert digits(fit.se, list(expected["se"].values())) >= needed
    assert digits([fit.rss, fit.sd], [expected["rss"], expected["resid_sd"]]) >= needed


@pytest.mark.parametrize("name", sorted(set(FUNCTIONS) - {"mgh17"}))
@pytest.mark.parametrize("start", ["start1", "start2"])
def test_each_start_alone_gets_there(name, start):
    # MGH17 from its far start ends on a plateau of the residual sum, which is why
    # several starts are asked for; the next test holds that it says so.
    data, expected = case("regression", f"nist_{name}")
    fit = fit_curve(FUNCTIONS[name], data["x"], data["y"], [list(expected[start].values())])
    assert digits(fit.parameters, list(expected["coef"].values())) >= 8


def test_a_dead_end_gives_no_standard_errors():
    data, expected = case("regression", "nist_mgh17")
    fit = fit_curve(FUNCTIONS["mgh17"], data["x"], data["y"], [list(expected["start1"].values())])
    assert fit.rss > 100 * expected["rss"]
    assert fit.se is None


def test_puromycin_treated_cells():
    data, expected = case("dose_response", "puromycin_mm")
    treated = data[data["state"] == "treated"]
    # Starting values chosen by us: read off a plot of the data.
    fit = fit_curve(lambda x, b: b[0] * x / (b[1] + x), treated["conc"], treated["rate"], [[200, 0.1], [150, 0.5]])
    want = expected["treated"]
    assert fit.parameters == pytest.approx([want["coef"][k]["Estimate"] for k in ("Vm", "K")], rel=1e-4)
    assert fit.se == pytest.approx([want["coef"][k]["Std. Error"] for k in ("Vm", "K")], rel=1e-4)
    assert fit.rss == pytest.approx(want["rss"], rel=1e-9)


def test_puromycin_both_states_with_shifts():
    data, expected = case("dose_response", "puromycin_mm")
    treated = (data["state"] == "treated").to_numpy(dtype=float)

    def both(x, b):
        return (b[0] + b[1] * treated) * x / (b[2] + b[3] * treated + x)

    fit = fit_curve(both, data["conc"], data["rate"], [[160, 40, 0.05, 0.0], [200, 0, 0.1, 0.1]])
    want = expected["both"]["coef"]
    names = ("Vm", "delV", "K", "delK")
    assert fit.parameters == pytest.approx([want[k]["Estimate"] for k in names], rel=1e-4)
    assert fit.se == pytest.approx([want[k]["Std. Error"] for k in names], rel=1e-4)
