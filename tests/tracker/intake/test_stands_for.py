"""Is a response taken for what its name and unit say?"""

from __future__ import annotations

import pytest

from tracker.intake.stands_for import guess_stands_for
from tracker.log_models import STANDS_FOR


@pytest.mark.parametrize(
    ("name", "unit", "stands_for"),
    [
        ("rise height", "mm", "rise"),
        ("Specific volume", "ml/g", "rise"),
        ("crumb pH", "", "pH"),
        ("pH", "", "pH"),
        ("gas", "ml", "gas"),
        ("CO2 in 10 min", "ml", "gas"),
        ("oven temperature", "°C", "oven temperature"),
        ("oven", "°C", "oven temperature"),
        ("bake loss", "%", "bake loss"),
        ("weight_loss", "g", "bake loss"),
        ("crumb score", "", ""),
        ("colour", "L*", ""),
        ("oven load", "pieces", ""),
        ("phase", "", ""),  # "ph" inside a word is not pH
    ],
)
def test_names_and_units_tell(name, unit, stands_for):
    assert guess_stands_for(name, unit) == stands_for
    assert stands_for in STANDS_FOR
