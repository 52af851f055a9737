"""Does a trial with a formula say whether chemistry explains its acid source?"""

import numpy as np
import pandas as pd
import pytest
from jsonschema import Draft202012Validator

from analysis.engine import analyse
from analysis.leavening.runs import GAS, SODA_LEFT
from analysis.questions import Factor, Question, Response
from analysis.serialise import analysis_json, schema

SOURCES = ("cream of tartar", "yogurt", "lemon juice")
CAPACITY = dict(zip(SOURCES, (1.2, 1.6, 2.0), strict=True))  # % soda used up


def readings(own_effect: float) -> pd.DataFrame:
    generator = np.random.Generator(np.random.PCG64(8))
    rows = []
    for day in range(3):
        for source in SOURCES:
            for soda in (0.5, 1.0, 1.5, 2.0, 2.5):
                used = min(soda, CAPACITY[source])
                rise = 30 + 17 * used - 3 * used**2 - 3 * (soda - used) + own_effect * SOURCES.index(source)
                rise += generator.normal(0, 1)
                rows.append((f"{len(rows)}", str(day), source, soda, 291.2 * used, soda - used, rise))
    return pd.DataFrame(rows, columns=["bake", "day", "acid source", "soda", GAS, SODA_LEFT, "rise"])


QUESTION = Question(
    factors=(Factor(name="soda", kind="amount"), Factor(name="acid source", kind="category", levels=SOURCES)),
    responses=(Response(name="rise", unit="mm", matters=3.0, goal="maximise"),),
    blocks=("day",),
    bake="bake",
)


@pytest.mark.parametrize(("own_effect", "verdict"), [(0.0, "explains"), (4.0, "does not explain")])
def test_the_verdict_reaches_the_document(own_effect, verdict):
    document = analysis_json(analyse(readings(own_effect), QUESTION))
    assert list(Draft202012Validator(schema()).iter_errors(document)) == []
    (part,) = document["responses"][0]["chemistry"]
    assert part["verdict"] == verdict
    assert "acid source" in part["words"]
    assert part["low"] < part["size"] < part["high"]


def test_without_chemistry_columns_there_is_no_part():
    table = readings(0.0).drop(columns=[GAS, SODA_LEFT])
    assert analysis_json(analyse(table, QUESTION))["responses"][0]["chemistry"] == []
