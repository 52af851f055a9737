"""Does a check of few error degrees of freedom say which error it means?"""

from __future__ import annotations

import pytest

from analysis.results import Check
from analysis.words.checks import say_check


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"stratum": "bakes"}, "the error rests on only 2 degrees of freedom"),
        (
            {"stratum": "oven load"},
            'what was set for a whole "oven load" is judged by an error that rests on only 2 degrees of freedom',
        ),
        (
            {"stratum": "bakes", "between": "bakes of one dose"},
            "the scatter between bakes of one dose rests on only 2 degrees of freedom",
        ),
    ],
)
def test_it_names_the_error_that_it_counts(facts, said):
    check = Check(check="few error df", verdict="do not rely", facts={"df_error": 2, **facts})
    assert said.casefold() in say_check(check).casefold()
