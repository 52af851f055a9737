"""The amount to use: one range where the acids agree, each its own where they do not, digits one can weigh."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.results import ResponseResult
from analysis.words.amounts import amount_for_all, amount_to_use, common_range


@pytest.fixture
def apart(answered) -> ResponseResult:
    """Three acids with three different best doses, found to differ."""
    _, analysis = next(pair for pair in answered if pair[0].name == "one curve per acid")
    return analysis.responses[0]


def asking(result: ResponseResult, *ranges: tuple[float, float], differ: str = "unsure", **change) -> ResponseResult:
    """The result as if its curves asked for these ranges of dose."""
    dose = result.family.dose
    curves = tuple(
        replace(curve, recommended=replace(curve.recommended, dose=low, as_good_to=high, low=None, high=None))
        for curve, (low, high) in zip(dose.curves, ranges, strict=True)
    )
    findings = tuple(
        replace(finding, matters=differ) if finding.kind == "curves differ" else finding for finding in result.findings
    )
    family = replace(result.family, dose=replace(dose, curves=curves))
    return replace(result, family=family, findings=findings, **change)


ALIKE = ((1.1234, 2.2), (1.0, 2.3), (1.2, 2.1478))


def test_curves_found_to_differ_are_said_one_by_one(apart):
    assert common_range(apart) is None
    assert common_range(asking(apart, *ALIKE, differ="yes")) is None
    assert all(f"with {curve.level}" in amount_to_use(apart, 0.95) for curve in apart.family.dose.curves)


def test_curves_that_agree_give_their_common_range_once(apart):
    same = asking(apart, *ALIKE)
    assert common_range(same) == (1.2, 2.1478)
    said = amount_to_use(same, 0.95)
    assert "use 1.2 to 2.1 % flour of soda, with any acid source" in said
    assert not any(str(curve.level) in said for curve in same.family.dose.curves)


def test_ranges_that_hardly_meet_are_said_one_by_one(apart):
    assert common_range(asking(apart, (0.5, 1.2), (1.1, 2.0), (0.5, 2.5))) is None
    assert common_range(asking(apart, (0.5, 1.0), (1.1, 2.0), (0.5, 2.5))) is None


def test_digits_are_no_finer_than_a_hundredth_of_the_range_baked(apart):
    said = amount_to_use(asking(apart, (1.2534, 2.171), (0.4, 0.6), (1.032, 2.009)), 0.95)
    assert said.endswith("is 1.3 to 2.2 % flour with lemon juice, 0.4 to 0.6 with yogurt and 1.0 to 2.0 with "
                         "cream of tartar")  # fmt: skip


def test_one_amount_suits_all_responses_where_their_ranges_meet(apart):
    rise = asking(apart, *ALIKE)
    score = asking(apart, *[(0.8, 1.81)] * 3, response=replace(apart.response, name="crumb score"))
    said = amount_for_all([rise, score])
    assert said.startswith("use 1.2 to 1.8 % flour of soda: it suits rise height and crumb score")
    assert amount_for_all([rise]) == ""
    assert amount_for_all([rise, apart]) == ""
    assert amount_for_all([rise, asking(apart, *[(0.5, 0.9)] * 3)]) == ""
