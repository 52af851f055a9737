"""Readings become bakes: every row is used or accounted for, and slices never count as bakes."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.bakes import bake_table
from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Factor, Question, Response

RISE = Response(name="rise", unit="mm")


def question(**changes) -> Question:
    plain = {
        "factors": (
            Factor(name="soda", kind="amount"),
            Factor(name="acid", kind="category", levels=("lemon", "yogurt", "tartar")),
        ),
        "responses": (RISE,),
        "blocks": ("day",),
    }
    return Question(**(plain | changes))


def table() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "soda": [1, 1, 2, 2],
            "acid": ["yogurt", "lemon", "yogurt", "lemon"],
            "day": [1.0, 1.0, 2.0, 2.0],
            "rise": [40.0, 42.0, 50.0, 51.0],
        }
    )


def test_the_bake_frame_is_what_the_families_were_promised():
    bakes = bake_table(table(), RISE, question()).bakes
    assert list(bakes.columns) == ["soda", "acid", "day", "rise", "bake", "order", "readings"]
    assert list(bakes.index) == [0, 1, 2, 3]
    assert bakes["soda"].dtype == bakes["rise"].dtype == np.float64
    assert bakes["acid"].cat.ordered
    assert list(bakes["acid"].cat.categories) == ["lemon", "yogurt"]  # stored order, only what occurs
    assert list(bakes["day"].cat.categories) == ["1", "2"]
    assert bakes["bake"].tolist() == ["1", "2", "3", "4"]
    assert bakes["order"].tolist() == [1, 2, 3, 4]
    assert bakes["readings"].tolist() == [1, 1, 1, 1]


def test_readings_of_one_bake_are_averaged_piece_means_first():
    frame = pd.DataFrame(
        {
            "bake": ["b1"] * 3 + ["b2"],
            "piece": ["left", "left", "right", "left"],
            "soda": [1.0, 1, 1, 2],
            "rise": [10.0, 20, 40, 7],
        }
    )
    asked = question(factors=(Factor(name="soda", kind="amount"),), blocks=(), bake="bake")
    result = bake_table(frame, RISE, asked)
    assert result.bakes["rise"].tolist() == [27.5, 7.0]  # (15 + 40) / 2, not 70 / 3
    assert result.bakes["readings"].tolist() == [3, 1]
    assert (result.n_rows, result.n_readings) == (4, 4)
    assert result.notes[0].check == "experimental unit"
    assert result.notes[0].verdict == "fine"


def test_settings_that_differ_within_a_bake_are_refused():
    frame = table().assign(bake=["a", "a", "b", "b"], acid="lemon", soda=[1, 2, 3, 3])
    with pytest.raises(TrialDataError, match='Bake "a" has more than one value of "soda": 1, 2'):
        bake_table(frame, RISE, question(bake="bake"))


def test_every_row_is_used_or_listed_with_its_reason():
    frame = table()
    frame.loc[0, "rise"] = np.nan
    frame.loc[1, "acid"] = " "
    frame.loc[2, ["day", "rise"]] = np.nan
    result = bake_table(frame, RISE, question())
    assert [(out.row, out.why, out.response) for out in result.left_out] == [
        (1, "rise empty", "rise"),
        (2, "acid empty", "rise"),
        (3, "day and rise empty", "rise"),
    ]
    assert result.n_rows == result.n_readings + len(result.left_out)


def test_an_unknown_level_names_the_nearest_one():
    frame = table().assign(acid=["yoghurt", "lemon", "yogurt", "lemon"])
    with pytest.raises(TrialDataError) as caught:
        bake_table(frame, RISE, question())
    assert '"yoghurt"' in caught.value.what
    assert '"yogurt"' in caught.value.try_this


def test_nothing_recorded_is_not_possible_rather_than_an_empty_answer():
    with pytest.raises(NotPossible, match="No row has rise"):
        bake_table(table().assign(rise=np.nan), RISE, question())


@pytest.mark.parametrize("name", ["order", "readings", "bake"])
def test_names_the_bake_frame_needs_are_refused(name):
    frame = table().rename(columns={"soda": name})
    with pytest.raises(TrialDataError, match="cannot name a factor"):
        bake_table(frame, RISE, question(factors=(Factor(name=name, kind="amount"),)))


def test_the_recorded_order_of_baking_is_used():
    bakes = bake_table(table().assign(bake_order=[3, 1, 4, 2]), RISE, question()).bakes
    assert bakes["order"].tolist() == [3, 1, 4, 2]


def test_pieces_without_a_bake_column_are_pointed_out():
    notes = bake_table(table().assign(piece=[1, 2, 1, 2]), RISE, question()).notes
    assert [(note.check, note.verdict) for note in notes] == [("experimental unit", "look here")]


def test_columns_may_be_called_row_or_column():
    frame = table().rename(columns={"day": "row"})
    bakes = bake_table(frame, RISE, question(blocks=("row",))).bakes
    assert list(bakes["row"].cat.categories) == ["1", "2"]


@given(
    readings=st.lists(st.tuples(st.integers(0, 4), st.floats(-1e6, 1e6)), min_size=1, max_size=30),
    seed=st.integers(0, 99),
)
def test_shuffling_or_repeating_readings_changes_no_bake_mean(readings, seed):
    frame = pd.DataFrame(readings, columns=["bake", "rise"]).assign(soda=lambda rows: rows["bake"] * 1.0)
    asked = question(factors=(Factor(name="soda", kind="amount"),), blocks=(), bake="bake")

    def means(rows: pd.DataFrame) -> dict:
        bakes = bake_table(rows, RISE, asked).bakes
        return dict(zip(bakes["bake"], bakes["rise"], strict=True))

    first = means(frame)
    shuffled = means(frame.sample(frac=1, random_state=seed))
    doubled = means(pd.concat([frame, frame], ignore_index=True))
    for bake, mean in first.items():
        assert shuffled[bake] == pytest.approx(mean, rel=1e-9, abs=1e-6)
        assert doubled[bake] == pytest.approx(mean, rel=1e-9, abs=1e-6)
