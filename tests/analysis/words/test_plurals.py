"""Names that bakers give things are counted as people would."""

import pytest

from analysis.words.numbers import say_count
from analysis.words.plurals import one_of, several


@pytest.mark.parametrize(
    ("thing", "things"),
    [
        ("bake day", "bake days"),
        ("batter batch", "batter batches"),
        ("mix", "mixes"),
        ("glass", "glasses"),
        ("oven shelf", "oven shelves"),
        ("kitchen knife", "kitchen knives"),
        ("Loaf", "Loaves"),
        ("turn of the day", "turns of the day"),
        ("batch of dough", "batches of dough"),
        ("kitchen of our bakery", "kitchens of our bakery"),
        ("bakery", "bakeries"),
        ("bake days", "bake days"),
        ("whole plot", "whole plots"),
    ],
)
def test_several_are_named_by_what_they_are(thing, things):
    assert several(thing) == things
    assert say_count(1, thing) == f"1 {thing}"
    assert say_count(3, thing) == f"3 {things}"


@pytest.mark.parametrize(
    ("thing", "one"),
    [
        ("batter batch", "a batter batch"),
        ("oven load", "an oven load"),
        ("hour", "an hour"),
        ("unit", "a unit"),
        ("upper shelf", "an upper shelf"),
    ],
)
def test_one_takes_the_article_of_its_sound(thing, one):
    assert one_of(thing) == one
