"""Two premixes over five recipes: a paired comparison is a block for each recipe.

Data: US patent 3,505,079 as used in an exercise of Box, Hunter & Hunter, from memory, not checked
in print; t and interval computed with R 4.2.2.
"""

import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.serialise import analysis_json

VOLUME = {"A": [83, 90, 96, 83, 90], "B": [65, 82, 90, 65, 82]}


def test_paired_difference():
    rows = [
        {"recipe": str(recipe), "premix": premix, "volume": volume}
        for premix, volumes in VOLUME.items()
        for recipe, volume in enumerate(volumes, start=1)
    ]
    question = Question(
        factors=(Factor(name="premix", kind="category", levels=("B", "A")),),
        responses=(Response(name="volume"),),
        blocks=("recipe",),
    )
    (result,) = analyse(pd.DataFrame(rows), question).responses
    test = next(test for test in result.family.tests if test.term == "premix")
    assert test.value == pytest.approx(4.39696865275764**2, rel=1e-8)
    assert test.df_error == 4
    assert test.p == pytest.approx(0.0117188110386748, rel=1e-8)
    finding = result.findings[0]
    assert finding.size == pytest.approx(11.6)
    assert (finding.low, finding.high) == pytest.approx((4.27523474380575, 18.9247652561943), rel=1e-8)


def test_several_biscuits_of_one_batch_draw_a_question():
    """If the four biscuits of each dose came from one batch, they are no replicates: the answer asks.

    Rise in mm against powder: Lawson, Design and Analysis of Experiments, ch. 2, exercise (part f asks just that).
    """
    rise = {0.25: [11.4, 11.0, 11.3, 9.5], 0.5: [27.8, 29.2, 26.8, 26.0], 0.75: [47.6, 47.0, 47.3, 45.5]}
    table = pd.DataFrame([{"powder": dose, "rise": value} for dose, values in rise.items() for value in values])
    question = Question(factors=(Factor(name="powder", kind="amount"),), responses=(Response(name="rise"),))
    document = analysis_json(analyse(table, question))
    asked = next(c for c in document["responses"][0]["checks"] if c["check"] == "experimental unit")
    assert asked["verdict"] == "look here"
    named = analyse(
        table.assign(batch=table["powder"].astype(str)),
        Question(factors=question.factors, responses=question.responses, bake="batch"),
    )
    # One batch a dose: three bakes, and no fake F with 9 degrees of freedom.
    assert named.responses[0].n_bakes == 3
    assert all(test.df_error in (None, 1) for test in named.responses[0].family.tests)
