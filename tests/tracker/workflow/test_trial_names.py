"""Is a trial's name one that can be typed, found and printed?"""

import pytest

from tracker.errors import InputError
from tracker.workflow.planning import preview_plan

PLAN = """
title = "Thickening with xanthan"
flour_per_bake_g = 200
[[factor]]
name = "xanthan"
kind = "amount"
unit = "% flour"
values = [0, 0.5, 1]
ingredient = "xanthan"
[[response]]
name = "rise height"
[design]
kind = "dose ladder"
replicates = 3
seed = 5
[formula]
name = "loaf"
[[formula.line]]
ingredient = "rice flour"
bakers_percent = 100
[[formula.line]]
ingredient = "water"
bakers_percent = 90
"""


@pytest.mark.parametrize("name", ["", "  ", "a\x00b", "a\nb", "a\u202eb", "x" * 101])
def test_a_name_that_cannot_be_typed_is_refused_with_one_that_can(name):
    with pytest.raises(InputError, match="The name") as refused:
        preview_plan(PLAN, name=name)
    assert refused.value.try_this == '--name "thickening-with-xanthan"'


def test_a_name_is_kept_in_one_spelling():
    assert preview_plan(PLAN, name=" cre\u0301me  trial ").name == "créme trial"


def test_a_dose_that_no_line_holds_yet_is_said():
    assert "xanthan is not in the formula: its dose is weighed in addition." in preview_plan(PLAN).cautions
