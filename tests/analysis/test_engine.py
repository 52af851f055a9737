"""From tables and a question to an answer: every row accounted for, one bad response spoils no other."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Factor, Question, Response
from analysis.results import LeftOut
from analysis.words.answers import answer

SODA = Factor(name="soda", kind="amount", unit="% flour")
ACID = Factor(name="acid", kind="category")
RISE = Response(name="rise", unit="mm", matters=2.0, goal="maximise")
CRUMB = Response(name="crumb", scale="score", matters=1.0)
QUESTION = Question(factors=(SODA, ACID), responses=(RISE, CRUMB))


def table(seed: int = 1) -> pd.DataFrame:
    generator = np.random.default_rng(seed)
    frame = pd.DataFrame([(s, a) for s in (0.5, 2.5) for a in ("lemon", "yogurt")] * 4, columns=["soda", "acid"])
    frame["rise"] = 40 + 6 * frame["soda"] + generator.normal(0, 1, len(frame))
    frame["crumb"] = 3 + generator.integers(-1, 2, len(frame))
    return frame


def test_each_response_is_answered_and_ranked_in_one_list():
    result = analyse(table(), QUESTION, source="bakes.csv")
    assert [one.response.name for one in result.responses] == ["rise", "crumb"]
    assert result.findings[0].variables == ("soda",)
    assert result.findings[0].response == "rise"
    assert [finding.rank for finding in result.findings] == list(range(1, len(result.findings) + 1))
    assert len(result.findings) == sum(len(one.findings) for one in result.responses)
    assert result.source == "bakes.csv"


def test_rows_read_are_rows_used_and_rows_left_out():
    frame = table()
    frame.loc[0, ["rise", "crumb"]] = np.nan
    frame.loc[1, "crumb"] = np.nan
    result = analyse(frame, QUESTION, left_out=[LeftOut(row="k7", why="burnt")])
    assert (result.rows_read, result.rows_used) == (17, 15)  # one set aside before, one empty for both
    assert [(out.row, out.response) for out in result.left_out] == [
        ("k7", None),
        (1, "rise"),
        (1, "crumb"),
        (2, "crumb"),
    ]


def test_one_table_per_response_is_read_as_well():
    frame = table()
    tables = {"rise": frame.drop(columns="crumb"), "crumb": frame.drop(columns="rise").head(12)}
    result = analyse(tables, QUESTION)
    assert (result.rows_read, result.rows_used) == (28, 28)
    assert [one.n_bakes for one in result.responses] == [16, 12]


def test_a_response_that_cannot_be_analysed_spoils_no_other():
    result = analyse(table().assign(crumb=np.nan), QUESTION)
    rise, crumb = result.responses
    assert answer(rise) == "mattered"
    assert crumb.findings[0].kind == "cannot tell"
    assert "No row has crumb" in crumb.family.reasons["model"]
    assert result.findings[-1].response == "crumb"


def test_when_no_response_can_be_analysed_it_says_why():
    with pytest.raises(NotPossible, match="Not one response"):
        analyse(table().assign(crumb=np.nan, rise=np.nan), QUESTION)
    with pytest.raises(NotPossible, match="No row has rise"):
        analyse(table().assign(rise=np.nan), replace(QUESTION, responses=(RISE,)))


def test_wrong_data_in_one_response_stops_the_whole_analysis():
    with pytest.raises(TrialDataError, match='text in row 1: "soft"'):
        analyse(table().astype({"crumb": object}).assign(crumb=["soft"] + [3] * 15), QUESTION)


def test_an_empty_table_is_wrong_data():
    with pytest.raises(TrialDataError, match="no rows"):
        analyse(table().head(0), QUESTION)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"responses": (Response(name="rize"),)}, '"rise"'),
        ({"factors": (Factor(name="sodda", kind="amount"),)}, '"soda"'),
        ({"blocks": ("acidd",)}, '"acid"'),
    ],
)
def test_unknown_names_are_met_with_the_nearest_one(change, words):
    with pytest.raises(TrialDataError) as caught:
        analyse(table(), replace(QUESTION, **change))
    assert words in caught.value.try_this


def test_shares_of_a_mixture_are_not_possible():
    frame = pd.DataFrame({"wheat": [60.0, 50, 70, 55], "rye": [40.0, 50, 30, 45], "rise": [1.0, 2, 3, 4]})
    asked = Question(
        factors=(Factor(name="wheat", kind="amount"), Factor(name="rye", kind="amount")), responses=(RISE,)
    )
    with pytest.raises(NotPossible, match="mixture"):
        analyse(frame, asked)


def test_scores_guesses_and_duplicates_are_said():
    frame = pd.concat([table(), table().head(1)], ignore_index=True)
    result = analyse(frame, replace(QUESTION, guessed=("soda",)))
    rise, crumb = ({check.check: check for check in one.checks} for one in result.responses)
    assert rise["duplicate rows"].facts["rows"] == (1, 17)
    assert rise["kind guessed"].facts["kinds"] == {"soda": "amount"}
    assert "scores as numbers" not in rise
    assert crumb["scores as numbers"].verdict == "look here"


def test_each_check_key_stands_once_per_response_unless_it_names_different_things():
    for one in analyse(table(), QUESTION).responses:
        keys = [(check.check, str(check.facts)) for check in one.checks]
        assert len(keys) == len(set(keys))
        assert sum(check.check == "experimental unit" for check in one.checks) == 1


@pytest.mark.parametrize("seed", range(3))
def test_order_of_rows_and_names_of_levels_change_no_number(seed):
    """Metamorphic: shuffled rows and renamed levels give the same sizes, intervals and p."""
    frame = table(seed)
    renamed = frame.sample(frac=1, random_state=seed).replace({"acid": {"lemon": "zest", "yogurt": "ayran"}})
    asked = replace(QUESTION, responses=(RISE,))
    first, second = analyse(frame, asked).findings, analyse(renamed, asked).findings
    for a, b in zip(first, second, strict=True):
        assert a.variables == b.variables
        assert abs(a.size) == pytest.approx(abs(b.size), rel=1e-9)
        assert a.p == pytest.approx(b.p, rel=1e-8)
        assert a.matters == b.matters


def test_another_unit_scales_sizes_and_leaves_verdicts():
    asked = replace(QUESTION, responses=(RISE,))
    in_cm = replace(asked, responses=(replace(RISE, unit="cm", matters=0.2),))
    frame = table()
    mm, cm = analyse(frame, asked).findings, analyse(frame.assign(rise=frame["rise"] / 10), in_cm).findings
    for a, b in zip(mm, cm, strict=True):
        assert b.size == pytest.approx(a.size / 10, rel=1e-9)
        assert (a.matters, a.variables) == (b.matters, b.variables)


def test_repeating_a_reading_within_a_bake_changes_nothing():
    asked = replace(QUESTION, responses=(RISE,), bake="bake")
    frame = table().assign(bake=lambda rows: [f"b{at}" for at in range(len(rows))])
    once, twice = analyse(frame, asked), analyse(pd.concat([frame, frame]), asked)
    assert [f.p for f in once.findings] == pytest.approx([f.p for f in twice.findings], rel=1e-9)


def test_slices_as_bakes_shout_where_bakes_do_not(answered):
    """Nested null: counted as bakes, the slices call a difference between three and three bakes sure."""
    study, right = next((study, result) for study, result in answered if study.name == "slices are no bakes")
    naive = analyse(study.table.drop(columns="bake"), replace(study.question, bake=None))
    assert naive.findings[0].p < 1e-4
    assert right.findings[0].p > 0.05
    assert any(c.check == "experimental unit" and c.verdict == "look here" for c in naive.responses[0].checks)
