"""Does a plan file that was written for somebody say what it was written from?"""

from __future__ import annotations

import pytest

from tracker.intake.plan_file import read_plan
from tracker.intake.plan_tables import FactorTable, ResponseTable
from tracker.workflow.plan_text import Draft, plan_text


@pytest.mark.parametrize("accept", [[40.0, 60.0], [40.0, None], [None, 8.1], None])
def test_what_is_acceptable_comes_back_with_one_end_or_both(accept):
    from analysis.designs.requests import DesignRequest

    response = ResponseTable(name="rise", unit="mm", goal="maximise", accept=accept)
    soda = FactorTable(name="soda", kind="amount", unit="g", low=1.0, high=3.0)
    draft = Draft(title="Soda", question="", factors=(soda,), responses=(response,))
    text = plan_text(draft, DesignRequest(kind="full factorial", factors=(), levels=3, replicates=2, seed=5))
    read = read_plan(text)
    assert read.responses == (response,)
    assert read.responses[0].accept == accept
