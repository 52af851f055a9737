"""Published generators give the published resolution and aliases."""

import json
from pathlib import Path

import numpy as np
import pytest

from analysis.designs.fractions import GENERATORS, LETTERS, best_fraction, effects_up_to, fraction_from, letters
from analysis.errors import PlanError

PUBLISHED = Path(__file__).parents[2] / "published" / "factorial"

# NIST/SEMATECH e-Handbook 5.3.3.4.7: resolution of the tabulated 2^(k-p) designs.
RESOLUTION = {
    (3, 4): 3,
    (4, 8): 4,
    (5, 8): 3,
    (5, 16): 5,
    (6, 8): 3,
    (6, 16): 4,
    (6, 32): 6,
    (7, 8): 3,
    (7, 16): 4,
    (7, 32): 4,
    (7, 64): 7,
    (8, 16): 4,
    (8, 32): 4,
    (8, 64): 5,
    (9, 16): 3,
    (9, 32): 4,
    (9, 64): 4,
}


def mask(word):
    return sum(1 << LETTERS.index(letter) for letter in word)


def test_every_offered_fraction_has_its_published_resolution():
    offered = {(factors, runs) for factors, table in GENERATORS.items() for runs in table}
    assert offered == set(RESOLUTION)
    for (factors, runs), resolution in RESOLUTION.items():
        fraction = best_fraction(factors, runs=runs, resolution=None)
        assert (fraction.runs, fraction.resolution) == (runs, resolution)


@pytest.mark.parametrize("case", ["2k4_1", "2k5_2", "2k6_2", "2k7_4"])
def test_aliases_agree_with_published_group_arithmetic(case):
    # Source stands in the file: group arithmetic on the handbook's generators, computed in R.
    expected = json.loads((PUBLISHED / f"alias_frac_{case}.json").read_text())["expected"]
    fraction = best_fraction(expected["factors"], runs=expected["runs"], resolution=None)
    assert {letters(word) for word in fraction.words} == set(expected["defining_words"])
    assert fraction.resolution == expected["resolution"]
    for size, count in expected["word_length_pattern"].items():
        assert sum(word.bit_count() == int(size[1:]) for word in fraction.words) == count
    for effect, aliases in expected["main_effect_aliases_up_to_3fi"].items():
        assert [letters(other) for other in fraction.aliases(mask(effect), up_to=3)] == aliases
    for effect, aliases in expected["twofi_aliases_up_to_2fi"].items():
        assert [letters(other) for other in fraction.aliases(mask(effect), up_to=2)] == aliases


def test_half_fraction_rows_are_those_of_the_filtration_experiment():
    # Montgomery, Design and Analysis of Experiments, ch. 8: 2^(4-1) with D = ABC, standard order.
    published = np.loadtxt(PUBLISHED / "filtration_half_fraction_2k4_1.csv", delimiter=",", skiprows=1)[:, :4]
    assert best_fraction(4, runs=8, resolution=None).signs() == [tuple(map(int, row)) for row in published]


@pytest.mark.parametrize(("factors", "runs"), sorted(RESOLUTION))
def test_effects_are_orthogonal_unless_they_are_aliases(factors, runs):
    # Brute force from the rows, against the group arithmetic.
    fraction = best_fraction(factors, runs=runs, resolution=None)
    signs = np.array(fraction.signs())
    effects = effects_up_to(factors, 2)
    columns = np.array([signs[:, [LETTERS.index(c) for c in letters(effect)]].prod(axis=1) for effect in effects])
    mixed = np.abs(columns @ columns.T) == runs
    assert set(np.unique(np.abs(columns @ columns.T))) <= {0, runs}
    for row, effect in enumerate(effects):
        found = [effects[column] for column in np.flatnonzero(mixed[row]) if column != row]
        assert found == fraction.aliases(effect, up_to=2)


def test_resolution_asks_for_the_smallest_fraction_that_has_it():
    assert best_fraction(5, runs=None, resolution=5).runs == 16
    assert best_fraction(5, runs=None, resolution=4).runs == 16
    assert best_fraction(7, runs=None, resolution=4).runs == 16


@pytest.mark.parametrize(
    ("factors", "runs", "resolution"), [(5, None, None), (5, 12, None), (5, 8, 5), (2, 2, None), (12, 16, None)]
)
def test_a_fraction_that_is_not_there_is_an_error_that_says_what_is(factors, runs, resolution):
    with pytest.raises(PlanError) as caught:
        best_fraction(factors, runs=runs, resolution=resolution)
    assert "factorial" in caught.value.try_this or "factors" in caught.value.try_this


def test_own_generators_are_read_in_the_usual_spelling():
    assert fraction_from(5, ["e = a*b*c*d"]) == fraction_from(5, ["E=ABCD"])


@pytest.mark.parametrize(
    "words", [["E=ABX"], ["E=E"], ["D=AB", "D=AC"], ["D=AB", "E=AD"], ["nonsense"], ["D=AB", "E=AB"]]
)
def test_generators_that_do_not_fit_are_refused(words):
    with pytest.raises(PlanError):
        fraction_from(5, words)
