"""Do curves that bend, profile intervals and curves without a formula agree with R?

Figures: R 4.2.2 (nls, isoreg, natural splines of the package splines), made by
``dose_response/bending.R``. Puromycin: Bates & Watts 1988, profile limits by R MASS 7.3-58.2,
which reads them off a spline through the profile. Yeast: R 4.2.2, own profile-F limits.
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.dose_response.asked_intervals import as_asked
from analysis.dose_response.curves import fit_shape
from analysis.dose_response.free_shapes import fit_free
from analysis.dose_response.goals import aim_of
from analysis.dose_response.intervals import parameter_intervals
from analysis.dose_response.layout import read_layout
from analysis.dose_response.optimum import find_optimum
from analysis.dose_response.shapes import SHAPES
from analysis.dose_results import Curve
from analysis.questions import Question, Response

HERE = Path(__file__).parent / "dose_response"
FIGURES = json.loads((HERE / "bending.json").read_text())


def layout_of(name, dose, response, keep=None):
    data = pd.read_csv(HERE / f"{name}.csv")
    data = data if keep is None else data.query(keep).reset_index(drop=True)
    asked = Response(name=response)
    return read_layout(data, asked, Question(factors=(), responses=(asked,)), dose=dose, by=None)


def limits(fit, intervals):
    asked = Response(name="y", goal="maximise")
    question = Question(factors=(), responses=(asked,), intervals=intervals)
    plain = Curve(
        level=None,
        parameters=parameter_intervals(fit, 0, 0.95),
        optimum=None,
        recommended=None,
        effective=(),
        points=(),
    )
    return as_asked(plain, fit, 0, aim_of(asked), question, uneven=False)[0].parameters


@pytest.mark.parametrize(
    ("name", "shape", "response"), [("gompertz", "gompertz-4", "rise"), ("hormesis", "hormesis-5", "height")]
)
def test_a_bending_curve_and_its_profile(name, shape, response):
    want = FIGURES[name]
    fit = fit_shape(layout_of(name, "dose", response), SHAPES[shape])
    found = limits(fit, "profile")
    assert (fit.rss, fit.df) == pytest.approx((want["rss"], want["df"]), rel=1e-9)
    for key in set("bcdef") & want.keys():
        assert found[key].estimate == pytest.approx(want[key], rel=1e-6)
        if f"se_{key}" in want:
            assert found[key].se == pytest.approx(want[f"se_{key}"], rel=1e-5)
    assert [found["e"].low, found["e"].high] == pytest.approx(want["profile_e"], rel=1e-7)


def test_the_top_of_a_hormesis():
    fit = fit_shape(layout_of("hormesis", "dose", "height"), SHAPES["hormesis-5"])
    best, why_not = find_optimum(fit, 0, aim_of(Response(name="height", goal="maximise")), 0.95)
    assert why_not is None
    assert best.dose == pytest.approx(FIGURES["hormesis"]["top"], rel=1e-6)
    assert best.low < best.dose < best.high


def test_a_monotone_curve_is_that_of_isoreg():
    fit = fit_free(layout_of("gompertz", "dose", "rise"), "monotone")
    want = FIGURES["monotone"]
    assert fit.inner[0] == pytest.approx(want["gompertz"], rel=1e-10)
    assert fit.rss == pytest.approx(want["rss"], rel=1e-10)


def test_a_smooth_curve_is_the_natural_spline_that_restricted_likelihood_prefers():
    fit = fit_free(layout_of("hormesis", "dose", "height"), "smooth")
    want = FIGURES["smooth"]
    assert fit.spent_on == pytest.approx(want["edf"], rel=1e-6)
    assert fit.inner[0] == pytest.approx(want["fit"], rel=1e-7)
    assert fit.mean(0, np.array(want["between"], dtype=float)) == pytest.approx(want["at"], rel=1e-7)


def test_puromycin_saturates():
    expected = json.loads((HERE / "puromycin_mm.json").read_text())["expected"]
    fit = fit_shape(layout_of("puromycin_mm", "conc", "rate", "state == 'treated'"), SHAPES["saturation"])
    found, straight = limits(fit, "profile"), parameter_intervals(fit, 0, 0.95)
    assert fit.rss == pytest.approx(expected["treated"]["rss"], rel=1e-9)
    for name in ("Vm", "K"):
        assert found[name].estimate == pytest.approx(expected["treated"]["coef"][name]["Estimate"], rel=1e-5)
        assert [straight[name].low, straight[name].high] == pytest.approx(expected["wald_ci"][name], rel=1e-4)
        # R's limits are interpolated; ours meet the F limit to 1e-9 (checked next).
        assert [found[name].low, found[name].high] == pytest.approx(expected["profile_ci"][name], rel=2e-4)


def test_a_profile_limit_is_where_the_residual_sum_meets_the_f_limit():
    layout = layout_of("puromycin_mm", "conc", "rate", "state == 'treated'")
    fit = fit_shape(layout, SHAPES["saturation"])
    limit = fit.rss * (1 + 4.964602743730711 / 10)  # F(0.95; 1, 10)
    for end in (limits(fit, "profile")["K"].low, limits(fit, "profile")["K"].high):
        wave = layout.dose / (end + layout.dose)
        left = layout.y - wave * (wave @ layout.y) / (wave @ wave)
        assert left @ left == pytest.approx(limit, rel=1e-8)


def test_the_breakpoint_of_the_yeast_by_its_grid():
    want = json.loads((HERE / "yeast_linear_plateau.json").read_text())["expected"]["profile_F_ci95_breakpoint"]
    fit = fit_shape(layout_of("yeast_linear_plateau", "yeast_pct", "specific_volume"), SHAPES["linear-plateau"])
    found = limits(fit, "profile")["breakpoint"]
    assert [found.low, found.high] == pytest.approx(want, rel=2e-6)
