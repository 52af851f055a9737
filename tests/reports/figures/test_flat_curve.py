"""What do report and picture say of a dose that moved nothing?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.words.checks import say_check
from reports.figures.dose import draw_dose


def flat_answer():
    generator = np.random.Generator(np.random.PCG64(4))
    doses = [dose for dose in (0.5, 1.0, 1.5, 2.0, 2.5) for _ in range(4)]
    table = pd.DataFrame({"soda": doses, "rise": 43.4 + generator.normal(0, 1.2, len(doses))})
    return analyse(
        table,
        Question(
            factors=(Factor(name="soda", kind="amount", unit="% flour"),),
            responses=(Response(name="rise", unit="mm", goal="maximise", matters=3.0),),
            dose="soda",
        ),
    )


def test_a_flat_curve_has_no_best_dose_and_every_place_says_so():
    result = flat_answer().responses[0]
    assert result.family.dose.shape == "flat"
    said = {check.check: say_check(check) for check in result.checks}
    assert "no dose was seen to be best" in said["edge of range"].lower()
    assert "scatter between bakes of one dose rests on 15 degrees" in said["few error df"]
    figure = draw_dose(result, key="flat", dose_unit="% flour")
    assert "stays at 43" in figure.alt
    assert "goes from" not in figure.alt
    assert "none is recommended" in figure.caption
    row = dict(zip(figure.table.columns, figure.table.rows[0], strict=True))
    assert row["best dose (% flour)"] == "none seen"
    assert row["recommended (% flour)"] == "none seen"
