"""Whatever comes in, an answer holds numbers or reasons, or a sentence with a way out comes back."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.errors import AnalysisError, NotPossible, TrialDataError
from analysis.estimates import Coefficient
from analysis.linear.finite import finite, numbers

SIZES = st.sampled_from([0.0, 1.0, 1.0, 1.0, 2.5, 1e-9, 1e9, 1e12 + 0.5, -3.0, 1e-40, 1e60, 5e-324, 1e308])


@st.composite
def hostile(draw):
    with np.errstate(all="ignore"):  # making such numbers may overflow; analysing them may not
        return draw_case(draw)


def draw_case(draw):
    """Few bakes, unequal treatments, huge and tiny numbers, ties, blocks that swallow factors, groups."""
    n = draw(st.integers(1, 14))
    seed = draw(st.integers(0, 2**32 - 1))
    rng = np.random.default_rng(seed)
    columns, amounts, categories = {}, [], []
    for i in range(draw(st.integers(1, 4))):
        kind = draw(st.sampled_from(["amount", "category", "copy", "still"]))
        name = f"f{i}"
        levels = draw(st.integers(1, 4))
        codes = rng.integers(0, levels, n)
        if kind == "copy" and amounts:
            columns[name] = columns[amounts[0]] * draw(SIZES)
            amounts.append(name)
        elif kind == "category":
            columns[name] = np.array(["a", "b", "c", "d"])[codes]
            categories.append(name)
        else:
            columns[name] = codes * draw(SIZES) + draw(SIZES) if kind != "still" else np.full(n, draw(SIZES))
            amounts.append(name)
    blocks = ["day"] if draw(st.booleans()) else []
    group = draw(st.sampled_from([(), ("load",), ("day", "load")]))
    columns["day"] = rng.integers(0, draw(st.integers(1, 4)), n).astype(str)
    columns["load"] = rng.integers(0, draw(st.integers(1, 6)), n).astype(str)
    noise = draw(st.sampled_from([0.0, 1e-14, 1e-3, 1.0]))
    y = np.round(rng.normal(size=n), draw(st.integers(0, 9))) * noise + codes
    columns["y"] = draw(SIZES) * y + draw(SIZES)
    asked = {"order": draw(st.integers(1, 4)), "squares": draw(st.sampled_from([1, 2, 3]))}
    return columns, {"amounts": amounts, "categories": categories, "blocks": tuple(blocks), "group": group, **asked}


def _answer_or_error(answer, columns, asked):
    try:
        return answer(columns, **asked)
    except AnalysisError as error:
        return error


@settings(max_examples=400, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(hostile())
def test_no_nan_no_traceback(answer, case):
    columns, asked = case
    result = _answer_or_error(answer, columns, asked)
    if isinstance(result, AnalysisError):
        assert min(len(result.what), len(result.try_this)) > 0
        return
    assert [path for path, number in numbers(result) if not np.isfinite(number)] == []
    for line in result.tests:
        assert line.p is not None or result.reasons["tests"]
    for finding in result.evidence:
        assert (finding.low is None) == (finding.high is None)
    assert len(result.points) == len(columns["y"])


def test_the_guard_catches_what_slips_through():
    assert finite(Coefficient(term="a", estimate=1.0), where="y").estimate == 1.0
    with pytest.raises(NotPossible, match="estimate"):
        finite(Coefficient(term="a", estimate=float("nan")), where="y")


def test_gaps_and_text_are_refused_with_a_way_out(answer, frame_of):
    gap = {"soda": [1, 2, 1, 2], "y": [1.0, 2.0, float("nan"), 3.0]}
    with pytest.raises(TrialDataError) as refused:
        answer(gap, amounts=["soda"])
    assert "'y'" in refused.value.what
    assert refused.value.try_this
    frame = frame_of({"soda": [1, 2, 1, 2], "y": [1.0, 2.0, 3.0, 4.0]}, ["soda"]).astype({"soda": object})
    frame.loc[1, "soda"] = "two"
    with pytest.raises(TrialDataError, match="text"):
        answer(frame, amounts=["soda"])


def test_an_unknown_column_is_named(answer):
    with pytest.raises(TrialDataError, match="acid"):
        answer({"soda": [1, 2, 1], "y": [1, 2, 3]}, amounts=["soda", "acid"])


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"soda": [1, 2], "y": [1, 2]}, "2 bakes"),
        ({"soda": [2, 2, 2], "y": [1, 2, 3]}, "same soda"),
        ({"soda": [1, 2, 3], "y": [1e200, 2e200, 5]}, "impossible size"),
    ],
)
def test_what_cannot_be_answered_is_said(answer, columns, words):
    with pytest.raises(NotPossible, match=words) as refused:
        answer(columns, amounts=["soda"])
    assert refused.value.try_this


def test_blocks_of_one_bake_leave_nothing_to_compare(answer):
    columns = {"soda": [1, 2, 1, 2], "day": list("abcd"), "y": [1, 2, 3, 5]}
    with pytest.raises(NotPossible, match="blocks"):
        answer(columns, amounts=["soda"], blocks=("day",))
