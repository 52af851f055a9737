"""Is it said plainly what a log's level changed with, how surely, and what to do next?"""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.control.why_results import Change, Chemistry, Ranked, Suspect, Why
from analysis.words.causes import say_change, say_headline, say_next, say_sureness, say_suspect, say_unasked, why_text
from analysis.words.numbers import writing

FLOUR = Suspect(column="flour", level="F-334", behaviour="step", of_lot=True)
POWDER = Suspect(column="powder", level="P-08", behaviour="drift", of_lot=True)
OVEN = Suspect(column="oven", level="lower oven", behaviour="offset")
SHIFT = Suspect(column="shift", level="late", behaviour="offset")
TIME = Suspect(column="", level="", behaviour="step")


def change(cause, **other):
    plain = {
        "weight": 0.98, "rivals": (), "from_batch": "90", "to_batch": "105", "batches": 16, "size": -2.6, "low": -3.2,
        "high": -2.0, "per_batch": None, "per_day": None, "onset": "90", "onset_low": "88", "onset_high": "91",
        "p_value": 0.0025,
    }  # fmt: skip
    return Change(cause=cause, **(plain | other))


def why(*changes, **other):
    plain = {
        "response": "rise height", "unit": "mm", "batches": tuple(str(n) for n in range(1, 121)), "mean": 43.0,
        "sd": 0.95, "correlation": 0.0, "p_value": 0.0025, "asked": ("flour lot", "oven"), "left_out": (),
    }  # fmt: skip
    chemistry = tuple(Chemistry(verdict="open", moved=(), missing=("pH", "gas")) for _ in changes)
    return Why(changes=changes, chemistry=chemistry, **(plain | other))


@pytest.mark.parametrize(
    ("suspect", "said"),
    [
        (FLOUR, "flour lot F-334"),
        (replace(POWDER, level=""), "the age of each lot of powder"),
        (OVEN, "the lower oven"),
        (replace(OVEN, level="B"), "oven B"),
        (replace(OVEN, level="2"), "oven 2"),
        (SHIFT, "the late shift"),
        (Suspect(column="weekday", level="Monday", behaviour="offset"), "Monday"),
        (TIME, "something that is not in the log"),
    ],
)
def test_a_suspect_has_the_name_a_baker_would_give_it(suspect, said):
    assert say_suspect(suspect) == said


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (
            change(FLOUR),
            "From batch 90 to 105 rise height was 2.60 mm lower (95 % interval 2.00 to 3.20); it began with flour lot "
            "F-334 (batch 90; the readings alone say batch 90, interval 88 to 91).",
        ),
        (
            change(FLOUR, onset_low="90", onset_high="90"),
            "From batch 90 to 105 rise height was 2.60 mm lower (95 % interval 2.00 to 3.20); it began with flour lot "
            "F-334 (batch 90, and the readings alone say the same).",
        ),
        (
            change(POWDER, size=-3.69, low=-4.3, high=-3.1, per_batch=-0.09, from_batch="38", to_batch="78"),
            "From batch 38 to 78 rise height fell by 0.090 mm a batch, 3.69 mm in all (95 % interval 3.10 to 4.30), as "
            "powder lot P-08 grew older (batch 38; the readings alone say batch 90, interval 88 to 91).",
        ),
        (
            change(OVEN, onset=None, onset_high="12", size=1.2, low=0.6, high=1.8, against="upper oven"),
            "All along rise height was 1.20 mm higher with the lower oven than with the upper oven "
            "(95 % interval 0.60 to 1.80); it may have begun as late as batch 12.",
        ),
        (
            change(SHIFT, to_batch="120"),
            "From batch 90 on rise height was 2.60 mm lower with the late shift than otherwise "
            "(95 % interval 2.00 to 3.20); the readings put the beginning at batch 90, interval 88 to 91.",
        ),
        (
            change(TIME, to_batch="120"),
            "From batch 90 on rise height was 2.60 mm lower (95 % interval 2.00 to 3.20); nothing in the log changed "
            "with it; the readings put the beginning at batch 90, interval 88 to 91.",
        ),
    ],
)
def test_a_change_is_told_with_its_stretch_size_and_beginning(told, said):
    assert say_change(told, why(told)) == said


def test_how_sure_it_is_and_what_else_it_may_be():
    sure = say_sureness(change(FLOUR))
    assert "fewer than 1 of 100 logs" in sure
    assert "clearly better than with anything else in the log (weight 98 %)" in sure
    maybe = say_sureness(change(FLOUR, weight=0.85, rivals=(Ranked(suspect=OVEN, weight=0.12, alike=0.4),)))
    assert maybe.endswith("Possible as well: the lower oven (12 %).")
    near = say_sureness(change(FLOUR, rivals=(Ranked(suspect=OVEN, weight=0.01, alike=0.97),)))
    assert "But the lower oven changed at nearly the same batches" in near


def test_causes_that_changed_together_are_not_told_apart_and_the_way_out_is_named():
    told = change(OVEN, weight=0.5, rivals=(Ranked(suspect=SHIFT, weight=0.5, alike=1.0),))
    assert "Whether it was the lower oven or the late shift cannot be told: they changed together." in say_sureness(
        told
    )
    assert say_next(told).startswith("Next: tell the lower oven and the late shift apart by baking")


def test_what_to_do_next_fits_the_cause():
    assert "once with flour lot F-334" in say_next(change(FLOUR))
    assert "open a fresh lot" in say_next(change(POWDER))
    assert "measure the temperature of the lower oven" in say_next(change(OVEN))
    assert "around batches 88 to 91" in say_next(change(TIME))
    missing = Chemistry(verdict="open", moved=(), missing=("pH", "gas"))
    assert "Measure pH and gas every few batches" in say_next(change(FLOUR), missing)


def test_the_headline_counts_and_names():
    assert say_headline(why(change(FLOUR))) == "1 change in 120 batches of rise height: flour lot F-334."
    both = say_headline(why(change(FLOUR), change(TIME)))
    assert both == "2 changes in 120 batches of rise height: flour lot F-334, and 1 that nothing in the log goes with."
    none = say_headline(why(p_value=0.43))
    assert none.startswith("No change of level shows in 120 batches")
    assert "43 of 100 logs" in none


def test_every_reason_for_leaving_out_has_words():
    for reason in ("not noted", "never changed", "too few batches"):
        assert say_unasked("line", reason).startswith("Line ")


def test_numbers_take_the_readers_decimal_mark():
    with writing(decimal=","):
        assert "2,60 mm lower" in say_change(change(FLOUR), why(change(FLOUR)))


def test_the_whole_text_says_that_going_together_is_not_causing():
    text = " ".join(why_text(why(change(FLOUR), correlation=0.6, gaps=2)).split())
    assert "need not have caused it" in text
    assert "batches hang together" in text
    assert "2 batches without rise height left out." in text
