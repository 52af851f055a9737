"""The verdict compares an interval with the difference that matters; ranks follow from it."""

import pytest

from analysis.findings import judge, rank
from analysis.questions import Response
from analysis.results import Finding


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


def finding(response="rise", *variables, size=5.0, low=None, high=None, matters="yes", kind="effect") -> Finding:
    low, high = (size - 1 if low is None else low), (size + 1 if high is None else high)
    return Finding(
        kind=kind,
        response=response,
        variables=variables,
        size=size,
        low=low,
        high=high,
        unit="mm",
        direction="up",
        matters=matters,
    )


RISE = Response(name="rise", unit="mm", matters=2.0)
CRUMB = Response(name="crumb", scale="score", matters=0.5)


def order(*evidence, responses=(RISE,)) -> list[tuple[str, ...]]:
    ranked = rank(evidence, responses)
    assert [one.rank for one in ranked] == list(range(1, len(evidence) + 1))
    return [one.variables for one in ranked]


def test_what_matters_comes_before_what_is_open_before_what_does_not():
    assert order(
        finding("rise", "small", matters="no", size=0.1),
        finding("rise", "open", matters="unsure", size=90.0),
        finding("rise", "large", matters="yes", size=4.0),
    ) == [("large",), ("open",), ("small",)]


def test_equal_verdicts_are_ordered_by_size_either_way():
    assert order(finding("rise", "a", size=3), finding("rise", "b", size=-9), finding("rise", "c", size=5)) == [
        ("b",),
        ("c",),
        ("a",),
    ]


def test_an_interaction_that_matters_comes_before_the_effects_it_involves():
    joint = finding("rise", "soda", "acid", size=3, kind="interaction")
    effects = [finding("rise", "oven", size=20), finding("rise", "soda", size=9), finding("rise", "acid", size=6)]
    assert order(*effects, joint) == [("oven",), ("soda", "acid"), ("soda",), ("acid",)]


def test_an_open_interaction_waits_its_turn():
    joint = finding("rise", "soda", "acid", size=3, kind="interaction", matters="unsure")
    assert order(joint, finding("rise", "soda", size=9)) == [("soda",), ("soda", "acid")]


def test_across_responses_sizes_count_in_differences_that_matter():
    # 3 mm is 1.5 times what matters, 2 points are 4 times: the score comes first.
    ranked = rank([finding("rise", "soda", size=3), finding("crumb", "oven", size=2)], (RISE, CRUMB))
    assert [one.response for one in ranked] == ["crumb", "rise"]


def test_without_a_difference_that_matters_the_usual_half_width_is_the_yardstick():
    plain = Response(name="rise", unit="mm")
    wide = finding("rise", "wide", size=6, low=-3, high=15)
    narrow = finding("rise", "narrow", size=2, low=1.9, high=2.1)
    assert [one.variables[0] for one in rank([narrow, wide], (plain,))] == ["wide", "narrow"]


def test_a_recommended_dose_follows_the_finding_about_that_dose():
    dose = finding("rise", "soda", size=1.6, kind="recommended dose")
    assert [one.kind for one in rank([dose, finding("rise", "soda"), finding("rise", "oven", size=99)], (RISE,))] == [
        "effect",
        "effect",
        "recommended dose",
    ]


def test_what_cannot_be_told_comes_last():
    dark = Finding(
        kind="cannot tell",
        response="rise",
        variables=("oven",),
        size=None,
        low=None,
        high=None,
        unit="mm",
        direction="none",
        matters="unsure",
    )
    assert order(dark, finding("rise", "soda", matters="no", size=0.1)) == [("soda",), ("oven",)]
