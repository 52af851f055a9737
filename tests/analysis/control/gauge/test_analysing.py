"""Does every layout get an answer, the same one however it is written down, and each impossible one a way out?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.control.gauge.analysing import gauge_study
from analysis.control.gauge.findings import verdict_of
from analysis.control.gauge.results import GaugeQuestion, Share
from analysis.control.results import Specification
from analysis.errors import NotPossible, TrialDataError

HEIGHTS = GaugeQuestion(response="height", unit="mm", person="baker", piece="loaf")


def sizes(answer):
    return {key: one.variance for key, one in answer.used.components.items()}


def ends(answer):
    return {key: (one.low, one.high) for key, one in answer.used.components.items()}


def test_parts_add_up_and_stay_within_their_limits(study):
    answer = gauge_study(study(offsets=(0.8, 0.0, -0.5)), HEIGHTS)
    parts = sizes(answer)
    assert parts["gauge"] == pytest.approx(parts["repeatability"] + parts["reproducibility"])
    assert parts["total"] == pytest.approx(parts["gauge"] + parts["piece"])
    for one in answer.used.components.values():
        assert 0 <= one.low <= one.variance <= one.high
    of_variance = {key: shares.of_variance.value for key, shares in answer.used.shares.items()}
    assert of_variance["gauge"] + of_variance["piece"] == pytest.approx(1)
    of_spread = {key: shares.of_spread.value for key, shares in answer.used.shares.items()}
    assert of_spread["gauge"] + of_spread["piece"] > 1
    assert all(of_spread[key] == pytest.approx(of_variance[key] ** 0.5) for key in of_spread)


def test_the_interaction_is_kept_when_it_is_there_and_pooled_when_not(study):
    """With none, its p is even between 0 and 1: of 24 studies about 18 pool it."""
    models = [gauge_study(study(seed=seed), HEIGHTS).used.model for seed in range(24)]
    assert 12 <= models.count("without person by piece") <= 23
    plain = study()
    lifted = plain.assign(height=plain.height + 3.0 * ((plain.baker == "Ada") & plain.loaf.isin(["loaf 1", "loaf 5"])))
    answer = gauge_study(lifted, HEIGHTS)
    assert answer.used.model == "with person by piece"
    assert answer.interaction.p < 1e-4
    assert [fit.model for fit in answer.fits] == ["with person by piece", "without person by piece"]


@pytest.mark.parametrize("repeats", [2, 3])
def test_pieces_met_by_one_person_each_are_their_own(study, repeats):
    frame = study(nested=True, repeats=repeats)
    own = frame.assign(loaf=frame.loaf + " of " + frame.baker)
    seen, told = gauge_study(own, HEIGHTS), gauge_study(frame, replace(HEIGHTS, nested=True))
    assert seen.nested
    assert told.nested
    assert sizes(seen) == pytest.approx(sizes(told))
    assert seen.pieces == 24
    assert not gauge_study(frame, HEIGHTS).nested  # the same names at every person: shared, unless told


def test_one_person_is_answered_without_people(study):
    frame = study()
    alone = frame[frame.baker == "Ada"]
    answers = [gauge_study(alone, HEIGHTS), gauge_study(alone, replace(HEIGHTS, person=None))]
    assert sizes(answers[0]) == sizes(answers[1])
    for answer in answers:
        assert answer.used.model == "one person"
        assert set(answer.used.components) == {"repeatability", "piece", "gauge", "total"}
        assert answer.used.missing["person"] == "one person"
        assert answer.pair is None
        assert answer.worth.anyone_sd is None


def test_without_repeats_a_crossed_study_still_answers_and_says_what_it_mixes(study):
    frame = study(repeats=1)
    answer = gauge_study(frame, HEIGHTS)
    assert answer.used.missing == {"person by piece": "no repeats"}
    assert answer.interaction is None
    assert answer.ranges is None
    assert "no repeats" in [check.check for check in answer.checks]


def test_gaps_are_left_out_and_named_and_the_answer_is_near_the_whole_one(study):
    frame = study(offsets=(0.8, 0.0, -0.5), repeats=3)
    whole = gauge_study(frame, HEIGHTS)
    frame.loc[[3, 10], "height"] = np.nan
    frame.loc[20, "baker"] = None
    frame.loc[30, "loaf"] = None
    answer = gauge_study(frame, HEIGHTS)
    assert [(out.row, out.why) for out in answer.left_out] == [
        (4, "no reading"),
        (11, "no reading"),
        (21, "no person named"),
        (31, "no piece named"),
    ]
    assert answer.used.method == "restricted likelihood"
    assert whole.used.method == "strata"
    for key, one in answer.used.components.items():
        assert one.sd == pytest.approx(whole.used.components[key].sd, rel=0.2)


def test_a_person_with_one_piece_is_used_and_named(study):
    frame = study()
    few = frame[(frame.baker != "Cleo") | (frame.loaf == "loaf 2")]
    answer = gauge_study(few, HEIGHTS)
    assert answer.people == ("Ada", "Ben", "Cleo")
    (check,) = [check for check in answer.checks if check.check == "uneven readings"]
    assert check.facts["one_piece"] == ("Cleo",)
    assert check.facts["missing"] == 7


def test_people_without_a_piece_in_common_are_said_to_be_so(study):
    frame = study()
    apart = frame[(frame.baker == "Cleo") == frame.loaf.isin([f"loaf {i}" for i in range(5, 9)])]
    checks = [check.check for check in gauge_study(apart, HEIGHTS).checks]
    assert "no piece in common" in checks
    assert "no piece in common" not in [check.check for check in gauge_study(frame, HEIGHTS).checks]


def test_zero_parts_are_zero_with_an_upper_end(study):
    """Twelve studies in which people do not differ: some have a mean square below its error."""
    zero = 0
    for seed in range(12):
        answer = gauge_study(study(seed=seed), HEIGHTS)
        person = answer.used.components["person"]
        if person.boundary:
            zero += 1
            assert person.variance == person.low == 0 < person.high
            assert "nothing seen" in [one.kind for one in answer.findings]
    assert zero >= 3


@pytest.mark.parametrize(
    ("share", "verdict"), [(0.31, "mend"), (0.30, "will do"), (0.11, "will do"), (0.10, "good"), (0.0, "good")]
)
def test_the_verdict_follows_the_share(share, verdict):
    assert verdict_of(Share(value=share)) == verdict


def test_the_tolerance_judges_where_there_is_one(study):
    frame = study(offsets=(0.8, 0.0, -0.5))
    spread = gauge_study(frame, HEIGHTS)
    wide, narrow = (gauge_study(frame, replace(HEIGHTS, tolerance=width)) for width in (40.0, 4.0))
    limits = Specification(response="height", lower=43, upper=47)
    assert spread.judged_by == "spread"
    assert (wide.verdict, narrow.verdict) == ("will do", "mend")
    assert narrow.judged.value == pytest.approx(6 * narrow.used.components["gauge"].sd / 4)
    assert gauge_study(frame, replace(HEIGHTS, specification=limits)).judged == narrow.judged


# What must not change the answer, or only in the way it says.


def test_units_scale_sizes_and_leave_shares(study):
    frame = study(offsets=(0.8, 0.0, -0.5))
    for drop in ([], [3, 17]):
        mm = gauge_study(frame.drop(index=drop), replace(HEIGHTS, tolerance=8))
        inches = frame.assign(height=frame.height / 25.4).drop(index=drop)
        inch = gauge_study(inches, replace(HEIGHTS, tolerance=8 / 25.4))
        assert {key: one * 25.4**2 for key, one in sizes(inch).items()} == pytest.approx(sizes(mm), rel=1e-6)
        assert inch.judged.value == pytest.approx(mm.judged.value, rel=1e-6)
        assert inch.judged.high == pytest.approx(mm.judged.high, rel=1e-5)
        assert inch.pair.difference * 25.4 == pytest.approx(mm.pair.difference)
        assert inch.worth.enough == mm.worth.enough
        assert inch.verdict == mm.verdict


def test_a_shift_of_all_readings_changes_nothing(study):
    frame = study(offsets=(0.8, 0.0, -0.5))
    moved = gauge_study(frame.assign(height=frame.height + 1e4), HEIGHTS)
    assert sizes(moved) == pytest.approx(sizes(gauge_study(frame, HEIGHTS)), rel=1e-7)


@pytest.mark.parametrize("drop", [[], [5, 6, 21]])
def test_the_order_of_rows_does_not_matter(study, drop):
    frame = study(offsets=(0.8, 0.0, -0.5)).drop(index=drop)
    shuffled = frame.sample(frac=1, random_state=4)
    one, other = gauge_study(frame, HEIGHTS), gauge_study(shuffled, HEIGHTS)
    assert sizes(one) == pytest.approx(sizes(other), rel=1e-6)
    assert {line.person: line.offset for line in one.persons} == pytest.approx(
        {line.person: line.offset for line in other.persons}, rel=1e-6
    )
    assert ends(one).keys() == ends(other).keys()
    for key, (low, high) in ends(one).items():
        assert (low, high) == pytest.approx(ends(other)[key], rel=1e-5, abs=1e-9)


def test_renamed_people_keep_their_readings(study):
    frame = study(offsets=(0.8, 0.0, -0.5))
    names = {"Ada": "Zoë", "Ben": "3", "Cleo": "4"}
    one, other = gauge_study(frame, HEIGHTS), gauge_study(frame.assign(baker=frame.baker.map(names)), HEIGHTS)
    assert sizes(one) == sizes(other)
    assert {names[line.person]: line.offset for line in one.persons} == {
        line.person: line.offset for line in other.persons
    }
    assert (names[one.pair.higher], names[one.pair.lower]) == (other.pair.higher, other.pair.lower)


def test_numbers_as_names_are_one_name_however_written(study):
    frame = study()
    numbered = frame.assign(loaf=frame.loaf.str.removeprefix("loaf ").astype(float))
    assert sizes(gauge_study(numbered, HEIGHTS)) == sizes(gauge_study(frame, HEIGHTS))


# What cannot be answered.


def one_reading_each(frame):
    return frame[frame.reading == 1]


@pytest.mark.parametrize(
    ("change", "asked", "kind", "said", "way"),
    [
        (lambda f: f[f.loaf == "loaf 1"], {}, NotPossible, "Only one piece", "at least 5 pieces"),
        (lambda f: f.assign(height=44.0), {}, NotPossible, "are the same", "finer scale"),
        (lambda f: f.assign(height=f.groupby(["baker", "loaf"]).height.transform("mean")), {}, NotPossible,
         "agree to the last digit", "finer scale"),
        (one_reading_each, {"nested": True}, NotPossible, "read twice by the same person", "at least twice"),
        (lambda f: f[(f.loaf == "loaf 1")], {"nested": True}, NotPossible, "a single piece", "at least 5 pieces"),
        (lambda f: one_reading_each(f[f.baker == "Ada"]), {}, NotPossible, "read twice by the same person", "twice"),
        (lambda f: one_reading_each(f[f.loaf.isin(["loaf 1", "loaf 2"]) & (f.baker != "Cleo")]).iloc[:3], {},
         NotPossible, "leave nothing", "twice"),
        (lambda f: one_reading_each(f).assign(height=lambda g: g.groupby("loaf").height.transform("first")), {},
         NotPossible, "no scatter", "copied"),
        (lambda f: f.assign(height=None), {}, TrialDataError, "No row has a reading", "Fill in"),
        (lambda f: f.assign(height=f.height.astype(object).where(f.index != 4, "tall")), {}, TrialDataError,
         "text in row 5", "Correct these cells"),
        (lambda f: f.assign(height=f.height.where(f.index != 4, np.inf)), {}, TrialDataError, "infinite", "cell empty"),
        (lambda f: f, {"response": "heights"}, TrialDataError, "no column", "height"),
        (lambda f: f, {"piece": "baker"}, TrialDataError, "two things", "a column each"),
        (lambda f: f, {"tolerance": 0.0}, TrialDataError, "no room", "above 0"),
        (lambda f: f, {"specification": Specification(response="height", lower=48, upper=40)}, TrialDataError,
         "not below", "smaller number"),
    ],
)  # fmt: skip
def test_what_cannot_be_says_so_and_how_it_could(study, change, asked, kind, said, way):
    with pytest.raises(kind) as told:
        gauge_study(change(study()), replace(HEIGHTS, **asked))
    assert said in told.value.what
    assert way in told.value.try_this
    assert told.value.where


def test_an_empty_table_says_so():
    with pytest.raises(TrialDataError, match="No row has a reading"):
        gauge_study(pd.DataFrame({"baker": [], "loaf": [], "height": []}), HEIGHTS)
