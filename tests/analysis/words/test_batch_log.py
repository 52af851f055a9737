"""Is a batch told of in two sentences that never mix what the process does with what was agreed?"""

from __future__ import annotations

import re

import pytest

from analysis.control.judging import judge
from analysis.control.results import BatchSeries, Limits, Phase, Specification
from analysis.control.variables import limits_of
from analysis.words.batch_log import (
    say_against_limits,
    say_against_specification,
    say_not_judged,
    say_phase,
    say_recorded_alarm,
    say_specification,
    say_too_few,
)

BATCHES = 24


@pytest.fixture(scope="module")
def limits() -> Limits:
    levels = [43 + (0.6, -0.4, 0.1, -0.7, 0.5, -0.1)[place % 6] for place in range(BATCHES)]
    series = BatchSeries(
        response="rise height",
        unit="mm",
        batches=tuple(f"B{place}" for place in range(BATCHES)),
        values=tuple((level - 0.5, level, level + 0.5) for level in levels),
    )
    return limits_of(series, kind="between")


def said(limits, values, **how):
    verdict = judge(limits, [], values, batch="N")
    return say_against_limits("rise height", "mm", values, verdict, limits, **how)


def test_a_usual_batch_names_the_limits_and_where_they_come_from(limits):
    words = said(limits, (43.1, 42.8, 43.5))
    assert words.startswith("Rise height 43.13 mm (mean of 3) is what this process does by itself, ")
    assert words.endswith(f"(Limits not frozen yet, from the {BATCHES} batches before it; they may be frozen.)")


def test_an_unusual_batch_names_every_alarm_level_and_spread(limits):
    words = said(limits, (33.0, 43.0, 53.0))
    assert "is not what this process does by itself." in words
    assert "The standard deviation within a batch: 10.0" in words
    assert "above the upper limit of" in words
    words = said(limits, (37.0, 37.5, 38.0))
    assert "37.5" in words
    assert "is below the lower limit of" in words


def test_a_value_just_outside_is_told_apart_from_its_limit(limits):
    level = limits.lower - limits.sd / 5000
    words = said(limits, (level, level, level))
    value, limit = re.search(r"([0-9.]+) mm is below the lower limit of ([0-9.]+) mm", words).groups()
    assert float(value) < float(limit)


def test_frozen_and_expected_limits_say_so(limits):
    frozen = Limits(
        **{
            **{name: getattr(limits, name) for name in ("lower", "centre", "upper", "sd", "method", "batches")},
            **{"first_batch": "B0", "last_batch": "B23", "provisional": False, "numbers": limits.numbers},
            **{"frozen": True, "author": "Ada", "frozen_at": "2026-03-20T10:00:00Z", "reason": "calm weeks."},
        }
    )
    assert said(frozen, (43.0, 43.1), phase=2).endswith("(Limits of phase 2, frozen on 2026-03-20 by Ada.)")
    assert said(limits, (43.0, 43.1), expected_from="soda").endswith(
        '(Limits expected from the trial "soda", until 20 batches exist.)'
    )
    words = say_phase("rise height", "mm", Phase(number=2, from_batch="B3", limits=frozen), ("outside the limits",))
    assert words.startswith("rise height, phase 2, from batch B3 on: limits ")
    assert words.endswith("frozen on 2026-03-20 by Ada: calm weeks. Rules: outside the limits.")


BOTH = Specification(response="rise height", lower=40, upper=48, target=44)


@pytest.mark.parametrize(
    ("specification", "values", "words"),
    [
        (BOTH, (43.0,), "It meets the specification (40 to 48 mm, target 44 mm)."),
        (BOTH, (40.0, 48.0), "Every piece meets the specification (40 to 48 mm, target 44 mm)."),
        (BOTH, (39.0,), "It misses the specification (40 to 48 mm, target 44 mm)."),
        (
            BOTH,
            (39.0, 43.0, 44.0),
            "1 of 3 pieces misses the specification (40 to 48 mm, target 44 mm): 39 mm; the mean meets it.",
        ),
        (
            BOTH,
            (30.0, 31.5, 44.0),
            "2 of 3 pieces miss the specification (40 to 48 mm, target 44 mm): 30 mm and 31.5 mm; "
            "the mean misses it too.",
        ),
        (Specification(response="r", upper=48), (49.0,), "It misses the specification (at most 48 mm)."),
        (Specification(response="r", lower=40), (49.0,), "It meets the specification (at least 40 mm)."),
        (Specification(response="r", target=44), (49.0,), "The specification (no bound, target 44 mm) names no bound."),
    ],
)
def test_the_specification_is_said_piece_by_piece(specification, values, words):
    assert say_against_specification(specification, values, "mm") == words
    assert "limit" not in words


def test_minus_signs_are_true_ones():
    below = Specification(response="shift", lower=-2, upper=2)
    assert say_against_specification(below, (-3.5, 0.0), "mm").endswith("−3.5 mm; the mean meets it.")
    assert say_specification(below, "") == "-2 to 2"  # inside a sentence that sets them


def test_what_is_not_judged_says_why():
    assert say_too_few(0, 5) == "there is no batch before it to compare it with; from 5 on there are provisional limits"
    assert say_too_few(1, 5).startswith("there is 1 batch before it")
    assert say_too_few(3, 5).startswith("there are 3 batches before it")
    assert say_not_judged("split", "", (2.0,), say_too_few(1, 5), out_of=40) == (
        "Split, 2 of 40 (5.0 %), is logged and not judged: there is 1 batch before it to compare it with; "
        "from 5 on there are provisional limits."
    )


def test_a_run_of_alarms_is_one_sentence():
    asked = ("rise height", "mm", "batch mean", "eight on one side", "below")
    assert say_recorded_alarm(*asked, [41.0], "B9", "B2") == (
        "batches B2 to B9, rise height (batch means), 41 mm: eight on one side, below"
    )
    assert say_recorded_alarm(*asked, [41.0, 40.0], "B10", "B2") == (
        "batches B2 to B10, rise height (batch means), 41 … 40 mm: eight on one side, below"
    )
