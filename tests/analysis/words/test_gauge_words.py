"""Is what a gauge study shows said plainly, with its number, and never more surely than it is known?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.control.gauge.analysing import gauge_study
from analysis.control.gauge.results import GaugeFinding, GaugeQuestion, OddReading, Share
from analysis.results import Check
from analysis.words.checks import CHECKS, say_check
from analysis.words.gauge import LABELS, SAID, say_gauge_answer, say_gauge_finding, say_share_interval
from analysis.words.gauge_checks import GAUGE_CHECKS
from analysis.words.gauge_pages import say_layout, say_left_out_readings, say_methods, say_ranges
from analysis.words.gauge_text import gauge_text

HEIGHTS = GaugeQuestion(response="height", unit="mm", person="baker", piece="loaf", tolerance=8)


def readings(*, offset=0.0, own=0.4, repeats=2, seed=1):
    rng = np.random.Generator(np.random.PCG64(seed))
    sizes = rng.normal(45, 2.5, 8)
    rows = [
        (who, f"loaf {j + 1}", size + offset * (i == 0) + rng.normal(0, own))
        for i, who in enumerate(("Ada", "Ben", "Cleo"))
        for j, size in enumerate(sizes)
        for _ in range(repeats)
    ]
    return pd.DataFrame(rows, columns=["baker", "loaf", "height"])


@pytest.fixture(scope="module")
def answer():
    return gauge_study(readings(offset=1.5), HEIGHTS)


def judged(answer, verdict, value, **facts):
    """The same answer with another verdict."""
    findings = [
        replace(one, verdict=verdict, size=value, facts={**one.facts, **facts}) if one.kind == "verdict" else one
        for one in answer.findings
    ]
    return replace(answer, verdict=verdict, judged=replace(answer.judged, value=value), findings=tuple(findings))


@pytest.mark.parametrize(
    ("verdict", "value", "said"),
    [
        ("mend", 0.48, "Mend the measuring before the recipe. The measuring takes up 48 % of the tolerance; more than"),
        ("will do", 0.22, "The measuring will do: it takes up 22 % of the tolerance."),
        ("good", 0.06, "The measuring is good: it takes up 6 % of the tolerance."),
    ],
)
def test_the_headline_has_the_verdict_and_its_share(answer, verdict, value, said):
    assert say_gauge_answer(judged(answer, verdict, value))[0].startswith(said)


def test_only_a_share_of_the_tolerance_is_called_one(answer):
    spread = gauge_study(readings(offset=1.5), replace(HEIGHTS, tolerance=None))
    assert "of the spread of all readings" in say_gauge_answer(spread)[0]
    assert "tolerance" not in " ".join(say_gauge_answer(spread))
    assert "tolerance" in say_gauge_answer(answer)[0]


def test_how_sure_it_is_stands_beside_it(answer):
    unsure, sure = (say_gauge_answer(judged(answer, "mend", 0.48, sure=known))[1] for known in (False, True))
    assert "room for another verdict; more people would tell" in unsure
    assert "the verdict stands" in sure


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (0.15, 0.81, "15 % to 81 % (95 % interval)"),
        (0.15, None, "15 % or more (95 % interval)"),
        (0.15, 40.0, "15 % or more (95 % interval)"),
        (None, None, ""),
    ],
)
def test_an_interval_without_a_useful_end_says_so(low, high, said):
    assert say_share_interval(Share(value=0.3, low=low, high=high), 0.95) == said


def test_a_good_measuring_is_told_nothing_to_do(answer):
    good = say_gauge_answer(judged(answer, "good", 0.05))
    mend = say_gauge_answer(answer)
    assert not any("Agree on one way" in line for line in good)
    assert any("Agree on one way" in line for line in mend)


def test_what_to_do_follows_from_whose_scatter_it_is():
    by_people = say_gauge_answer(gauge_study(readings(offset=3), HEIGHTS))
    by_repeats = say_gauge_answer(gauge_study(readings(own=1.5), HEIGHTS))
    assert any(line.startswith("Most of it lies between people") for line in by_people)
    assert any(line.startswith("Most of it is one person who reads the same piece again") for line in by_repeats)
    assert any(line.startswith("Read each piece more than once") for line in by_repeats)


def test_a_difference_that_chance_may_have_made_is_said_to_be_so(answer):
    alike = gauge_study(readings(), HEIGHTS)
    said = [say_gauge_finding(one, alike) for one in alike.findings if one.kind == "people differ"]
    assert "chance may have done that (95 % interval" in said[0]
    seen = [say_gauge_finding(one, answer) for one in answer.findings if one.kind == "people differ"]
    assert seen[0].startswith("Ada reads higher than")
    assert "chance" not in seen[0]


@pytest.mark.parametrize(("pair", "said"), [(False, "the other readings of Ben say"), (True, "the two readings of")])
def test_an_odd_reading_is_named_with_its_row(answer, pair, said):
    odd = OddReading(row=7, person="Ben", piece="loaf 2", value=47.1, expected=44.31, p=0.001, pair=pair)
    finding = GaugeFinding(kind="odd reading", variables=(odd.person, odd.piece), size=2.8,
                           facts={"row": 7, "value": 47.1, "expected": 44.31, "pair": pair})  # fmt: skip
    told = say_gauge_finding(finding, answer)
    assert told.startswith("Row 7: ")
    assert said in told
    assert "47.1 mm" in told
    assert "44.31" in told


@pytest.mark.parametrize(
    ("classes", "said"), [(0.7, "even into two"), (2.9, "into 2 groups;"), (6.2, "into 6 groups.")]
)
def test_groups_are_rounded_down(answer, classes, said):
    assert said in say_gauge_finding(GaugeFinding(kind="classes", size=classes), answer)


def test_a_part_of_zero_is_said_with_what_it_may_still_be():
    for seed in range(12):
        answer = gauge_study(readings(seed=seed), HEIGHTS)
        zero = [one for one in answer.findings if one.kind == "nothing seen" and one.variables == ("person",)]
        if zero:
            said = say_gauge_finding(zero[0], answer)
            assert said.startswith("No spread between people was seen beyond chance. Its SD is set to 0, and may be up")
            assert said.endswith(" mm.")
            return
    raise AssertionError("no study of twelve had a part of 0")


def test_readings_worth_taking_say_when_to_stop():
    few = gauge_study(readings(own=2.5, seed=3), HEIGHTS)
    told = next(say_gauge_finding(one, few) for one in few.findings if one.kind == "readings worth")
    assert few.worth.enough > 1
    assert told.startswith(f"Take {few.worth.enough} readings of each bake: the SD of a bake's mean falls from")
    one = gauge_study(readings(own=0.1), HEIGHTS)
    assert any(
        say_gauge_finding(f, one).startswith("In a trial one reading of each bake is enough") for f in one.findings
    )


def test_the_layout_the_rule_and_what_is_missing_are_told(answer):
    assert say_layout(answer) == "3 people read the same 8 pieces, each twice: 48 readings."
    methods = " ".join(say_methods(answer))
    assert "below 0.25; here p" in methods
    assert "Intervals of 95 %" in methods
    alone = gauge_study(readings()[lambda f: f.baker == "Ada"], HEIGHTS)
    assert "Part not known: between people (one person read everything)." in say_methods(alone)
    assert say_layout(alone) == "One person read 8 pieces, each twice: 16 readings."
    assert "averages and ranges" in say_ranges(answer)
    assert say_ranges(alone) == ""


def test_rows_left_out_are_named(answer):
    assert say_left_out_readings(answer) == "All 48 rows were used."
    frame = readings()
    frame.loc[3, "height"] = np.nan
    assert say_left_out_readings(gauge_study(frame, HEIGHTS)) == "1 row was left out: row 4 (no reading)."


def test_a_terminal_shows_everything_within_100_columns(answer):
    text = gauge_text(answer)
    assert max(map(len, text.splitlines())) <= 100
    assert all(LABELS[key] in text for key in ("repeatability", "person", "gauge", "piece", "total"))
    assert "they add up to more than 100 %. The spread between pieces" in " ".join(text.split())
    assert text.index("Mend the measuring") < text.index("Parts of the spread") < text.index("How it was worked out")


def test_every_finding_and_check_that_occurs_has_words_and_every_word_occurs(answer):
    kinds, checks = {one.kind for one in answer.findings}, {one.check for one in answer.checks}
    for seed in range(6):
        frame = readings(seed=seed, own=(0.4, 2.5)[seed % 2])
        frame.loc[5, "height"] += 9
        for some in (frame, frame.iloc[1:], frame[frame.baker == "Ada"], frame[::2], frame[frame.loaf < "loaf 3"],
                     frame[frame.baker != "Cleo"], frame[(frame.baker == "Cleo") == (frame.loaf > "loaf 4")],
                     frame.round({"height": -1})):  # fmt: skip
            found = gauge_study(some, HEIGHTS)
            kinds |= {one.kind for one in found.findings}
            checks |= {one.check for one in found.checks}
    assert kinds == set(SAID)
    assert checks == set(GAUGE_CHECKS)
    assert set(GAUGE_CHECKS) <= set(CHECKS)


@pytest.mark.parametrize(
    ("check", "said"),
    [
        (Check(check="repeats alike", verdict="look here", facts={"best": "Ada", "best_sd": 0.1, "worst": "Ben",
               "worst_sd": 0.4, "p": 0.001}), "Ben repeats less well than Ada"),
        (Check(check="repeats alike", verdict="look here", facts={"best": "Ada", "best_sd": 0.0, "worst": "Ben",
               "worst_sd": 0.4, "p": None}), "Ada reads the same each time"),
        (Check(check="scatter by size", verdict="look here", facts={"p": 0.01, "direction": "up"}), "on larger pieces"),
        (Check(check="scatter by size", verdict="look here", facts={"p": 0.01, "direction": "down"}), "on smaller"),
        (Check(check="uneven readings", verdict="look here", facts={"missing": 2, "cells": 24, "one_piece": ("Cleo",)}),
         "Of 24 pairs of person and piece 2 have no reading."),
        (Check(check="uneven readings", verdict="look here", facts={"missing": 0, "cells": 24, "one_piece": ()}),
         "Pieces were not read equally often"),
    ],
)  # fmt: skip
def test_checks_say_what_was_found(check, said):
    assert said in say_check(check)
    assert say_check(check).endswith(".")
