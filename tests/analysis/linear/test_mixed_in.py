"""What passes for the effect of a factor when interactions are left out?"""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from analysis.words import say_check

SCREENING = Path(__file__).parents[2] / "published" / "screening_designs"


def numbers(name):
    with (SCREENING / f"{name}.csv").open() as file:
        return list(csv.DictReader(file))


def mixed(result):
    return next(check for check in result.checks if check.check == "partly mixed")


@pytest.fixture(scope="module")
def plackett_burman():
    """The published 12 runs with made-up readings; columns x1 … x11."""
    rows = numbers("plackett_burman_12_aliases__design")
    noise = np.random.Generator(np.random.PCG64(3)).normal(50, 1, len(rows))
    return {name: [float(row[name]) for row in rows] for name in rows[0]} | {"y": noise}


def test_plackett_burman_mixes_a_third_of_45_pairs_into_each_effect(plackett_burman, answer):
    # Plackett & Burman 1946; the whole alias matrix (times 3) was computed with R 4.2.2.
    expected = json.loads((SCREENING / "plackett_burman_12_aliases.json").read_text())["expected"]
    table = {row["twofi"]: row for row in numbers("plackett_burman_12_aliases__alias_times_3")}
    result = answer(plackett_burman, amounts=[f"x{i}" for i in range(1, 12)], model="main effects")
    check = mixed(result)
    assert check.verdict == "look here"
    assert check.facts["n_mixed"] == sum(expected["nonzero_per_main"].values())
    for term, other, share in check.facts["mixed"]:
        assert 3 * share == pytest.approx(float(table[other][term]), abs=1e-6)
    assert not result.aliases
    assert {term for term in result.model.terms} == {f"x{i}" for i in range(1, 12)}


def test_a_saturated_screening_is_judged_by_its_small_effects(plackett_burman, answer):
    result = answer(plackett_burman, amounts=[f"x{i}" for i in range(1, 12)], model="main effects")
    assert all(effect.pse for effect in result.effects)
    assert not mixed(result).facts["in_error"]


@pytest.mark.parametrize("factors", [9, 10])
def test_one_or_two_error_df_judge_and_are_said_to_hold_interactions(plackett_burman, answer, factors):
    result = answer(plackett_burman, amounts=[f"x{i}" for i in range(1, factors + 1)], model="main effects")
    assert result.residual.df == 11 - factors
    assert not any(effect.pse for effect in result.effects)
    assert mixed(result).facts["in_error"]
    assert "widens the error" in say_check(mixed(result))
    assert next(check for check in result.checks if check.check == "few error df").verdict == "do not rely"


def test_pairs_that_cannot_be_told_are_left_out_whole_and_said(plackett_burman, answer):
    result = answer(plackett_burman, amounts=[f"x{i}" for i in range(1, 6)])
    assert set(result.model.terms) == {f"x{i}" for i in range(1, 6)}
    dropped = next(check for check in result.checks if check.check == "dropped terms")
    assert len(dropped.facts["terms"]) == 10
    assert mixed(result).facts["largest"] == pytest.approx(1 / 3)


def test_definitive_screening_keeps_single_effects_clean(answer):
    rows = numbers("dsd_6_volume")
    columns = {name: [float(row[name]) for row in rows] for name in rows[0]}
    check = mixed(answer(columns, amounts=[f"x{i}" for i in range(1, 7)], model="main effects"))
    # Jones & Nachtsheim 2011: single effects are clear of pairs and of bends.
    assert (check.verdict, check.facts["n_mixed"]) == ("fine", 0)
    assert "nothing of them passes" in say_check(check)


def test_shares_agree_with_least_squares_on_a_true_pair(plackett_burman, answer):
    # y made of one pair alone: what each effect is estimated at is twice its share of that pair.
    pair = np.array(plackett_burman["x1"]) * np.array(plackett_burman["x2"])
    result = answer({**plackett_burman, "y": 10 + pair}, amounts=[f"x{i}" for i in range(1, 8)], model="main effects")
    effects = {effect.term: effect.effect for effect in result.effects}
    shares = {term: share for term, other, share in mixed(result).facts["mixed"] if other == "x1:x2"}
    assert shares
    for term, share in shares.items():
        assert effects[term] == pytest.approx(2 * share, abs=1e-9)


def test_nothing_is_said_where_the_model_holds_the_pairs(answer):
    soda, fat = np.tile([1.0, 2.0, 1.0, 2.0], 3), np.tile([1.0, 1.0, 2.0, 2.0], 3)
    y = np.random.Generator(np.random.PCG64(4)).normal(50, 1, 12)
    columns = {"soda": soda, "fat": fat, "y": y}
    found = {check.check for check in answer(columns, amounts=["soda", "fat"]).checks}
    assert "partly mixed" not in found
    assert mixed(answer(columns, amounts=["soda", "fat"], model="main effects")).verdict == "fine"
