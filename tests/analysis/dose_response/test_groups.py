"""Bakes that shared a whole plot are not taken for bakes of their own, along a dose either."""

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.errors import NotPossible
from analysis.questions import Factor, Question, Response

ASKED = {"factors": (Factor(name="soda", kind="amount"),), "responses": (Response(name="rise"),), "bake": "bake"}


def loads(rng, within):
    """Eight oven loads of four bakes, each load off by its own error; doses vary ``within`` loads or between them."""
    doses = np.array([1.0, 2.0, 3.0, 4.0])
    soda = np.tile(doses, 8) if within else np.repeat(np.tile(doses, 2), 4)
    load = np.repeat(np.arange(8), 4)
    rise = 40 + np.repeat(rng.normal(0, 3, 8), 4) + rng.normal(0, 1, 32)
    return pd.DataFrame({"soda": soda, "load": load, "rise": rise, "bake": range(32)})


def test_whole_plots_are_taken_out_along_a_curve():
    table = loads(np.random.Generator(np.random.PCG64(1)), within=True)
    found = analyse(table, Question(**ASKED, group=("load",))).responses[0].family
    assert found.model.kind == "dose-response"
    # 32 bakes less 4 doses and 7 differences between loads.
    assert next(test for test in found.tests if test.term == "soda").df_error == 32 - 4 - 7
    assert "load" in {test.term for test in found.tests}


def test_a_dose_set_for_whole_loads_is_judged_between_them():
    table = loads(np.random.Generator(np.random.PCG64(1)), within=False)
    found = analyse(table, Question(**ASKED, group=("load",))).responses[0].family
    line = next(test for test in found.tests if test.term == "soda")
    assert (found.model.kind, line.stratum, line.df_error) == ("factors", "load", 6)
    with pytest.raises(NotPossible, match="same within each block"):
        analyse(table, Question(**ASKED, group=("load",), kind="dose"))


def test_nothing_is_found_too_often_where_nothing_is():
    # With the loads ignored, about half of such trials find an effect of soda.
    rng = np.random.Generator(np.random.PCG64(6))
    wrong = 0
    for _ in range(200):
        answer = analyse(loads(rng, within=False), Question(**ASKED, group=("load",)))
        wrong += next(test.p for test in answer.responses[0].family.tests if test.term == "soda") < 0.05
    assert wrong / 200 < 0.05 + 3 * (0.05 * 0.95 / 200) ** 0.5


def test_strips_are_taken_out_as_well():
    table = loads(np.random.Generator(np.random.PCG64(2)), within=True).assign(
        batch=(np.arange(32) + np.arange(32) // 4) % 2
    )
    found = analyse(table, Question(**ASKED, strips=("load", "batch"), kind="dose")).responses[0].family
    assert {"load", "batch"} <= {test.term for test in found.tests}
