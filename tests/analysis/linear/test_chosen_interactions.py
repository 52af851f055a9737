"""Only the joint effects that were named are fitted; a name that is none is refused with the nearest."""

from itertools import product

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.errors import TrialDataError
from analysis.questions import Factor, Question, Response

FACTORS = tuple(Factor(name=name, kind="amount") for name in ("oven", "soda", "rest"))


def asked(**more):
    table = pd.DataFrame(list(product((-1.0, 1.0), repeat=3)) * 2, columns=["oven", "soda", "rest"])
    noise = np.random.Generator(np.random.PCG64(1)).normal(size=16)
    table["rise"] = 40 + 3 * table["oven"] * table["soda"] + noise
    question = Question(factors=FACTORS, responses=(Response(name="rise"),), kind="factors", **more)
    return analyse(table, question).responses[0].family


@pytest.mark.parametrize("name", ["oven:soda", "soda:oven"])
def test_only_the_named_one_is_fitted(name):
    family = asked(interactions=(name,))
    assert [test.term for test in family.tests] == ["oven", "soda", "rest", "oven:soda"]
    assert family.residual.df == 11


def test_an_interaction_of_three_stands_on_its_pairs():
    """A joint effect of three without its pairs would be read wrongly: it is left out, not fitted alone."""
    pairs = ("oven:soda", "oven:rest", "soda:rest")
    assert "oven:soda:rest" in {test.term for test in asked(interactions=(*pairs, "oven:soda:rest")).tests}


def test_without_a_name_all_pairs_are():
    assert len(asked().tests) == 6


def test_a_name_that_is_none_is_refused():
    with pytest.raises(TrialDataError, match="oven:sodium") as refused:
        asked(interactions=("oven:sodium",))
    assert "oven:soda" in refused.value.try_this
