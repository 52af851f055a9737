"""The verdict compares an interval with the difference that matters; ranks follow from it."""

import pytest

from analysis.findings import judge


@pytest.mark.parametrize(
    ("low", "high", "matters", "verdict"),
    [
        (3.1, 13.3, 3, "yes"),
        (-13.3, -3.1, 3, "yes"),
        (3.0, 9.0, 3, "yes"),  # the band is open: touching its edge is outside
        (2.9, 9.0, 3, "unsure"),
        (-2.0, 2.9, 3, "no"),
        (-3.0, 2.9, 3, "unsure"),
        (-9.0, 9.0, 3, "unsure"),
        (0.1, 0.2, None, "yes"),
        (-0.2, -0.1, None, "yes"),
        (-0.1, 0.1, None, "unsure"),  # never "no" without a yardstick
        (None, None, 3, "unsure"),
        (None, 4.0, 3, "unsure"),
    ],
)
def test_judge_compares_the_interval_with_the_difference_that_matters(low, high, matters, verdict):
    assert judge(low, high, matters) == verdict
