"""Do letters say exactly which levels are not different?"""

from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from analysis.linear.letters import letters


@st.composite
def displays(draw):
    means = draw(st.lists(st.floats(-10, 10), min_size=1, max_size=7))
    pairs = list(combinations(range(len(means)), 2))
    return means, [pair for pair in pairs if draw(st.booleans())]


def alphabet(shown):
    """ "ab1" -> {"a", "b1"}."""
    found = []
    for sign in shown:
        if sign.isdigit():
            found[-1] += sign
        else:
            found.append(sign)
    return set(found)


@given(displays())
def test_a_letter_is_shared_exactly_when_not_different(case):
    means, different = case
    shown = [alphabet(text) for text in letters(means, different)]
    for i, j in combinations(range(len(means)), 2):
        assert bool(shown[i] & shown[j]) == ((i, j) not in different)
    assert all(shown)


def test_the_largest_mean_has_the_first_letter():
    assert letters([1.0, 5.0, 3.0], [(0, 1)]) == ["b", "a", "ab"]
    assert letters([1.0, 5.0, 3.0], []) == ["a", "a", "a"]
