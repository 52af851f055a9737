"""Is it said how much an odd bake moves the answer?"""

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.serialise import analysis_json
from analysis.words import say_check

QUESTION = Question(
    factors=(Factor(name="flour", kind="category", levels=("a", "b")),), responses=(Response(name="rise", unit="mm"),)
)


def table(odd_by: float) -> pd.DataFrame:
    wobble = np.tile([0.3, -0.4, 0.1, 0.5, -0.2, -0.3], 2)
    rise = np.repeat([40.0, 43.0], 6) + wobble
    rise[2] += odd_by
    return pd.DataFrame({"flour": ["a"] * 6 + ["b"] * 6, "rise": rise})


def odd_check(odd_by: float):
    (result,) = analyse(table(odd_by), QUESTION).responses
    return next(check for check in result.checks if check.check == "odd bakes")


def test_an_odd_bake_moves_its_treatment_and_the_words_say_how_far():
    check = odd_check(6.0)
    assert check.verdict == "look here"
    # Six millimetres on one of six bakes lift the mean by one; weighed down, most of that goes.
    assert check.facts["moves"] == pytest.approx(0.9, abs=0.2)
    assert "no fitted value moves by more than" in say_check(check)


def test_without_an_odd_bake_nothing_is_weighed_down():
    assert "moves" not in odd_check(0.0).facts


def test_the_document_stays_plain():
    checks = analysis_json(analyse(table(6.0), QUESTION))["responses"][0]["checks"]
    assert any("weighed down" in check["words"] for check in checks)
