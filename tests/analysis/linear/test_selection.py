"""Are the terms that can be told apart fitted, and the others named with the reason?"""

from itertools import product

import numpy as np
import pytest

from analysis.words import say_check


def noise(n, seed=1):
    return np.random.default_rng(seed).normal(size=n)


def checks(result):
    return {check.check: check for check in result.checks}


def full(levels, replicates=1):
    """Columns a, b, c … of a full design, each treatment baked ``replicates`` times."""
    rows = [row for row in product(*levels) for _ in range(replicates)]
    return {"abcdefg"[i]: list(column) for i, column in enumerate(zip(*rows, strict=True))}


def test_an_interaction_with_an_empty_cell_is_dropped_and_the_cell_named(answer):
    columns = full([["rye", "wheat", "spelt"], ["oil", "butter"]], 3)
    columns["y"] = noise(18)
    kept = [i for i in range(18) if (columns["a"][i], columns["b"][i]) != ("spelt", "oil")]
    columns = {name: [values[i] for i in kept] for name, values in columns.items()}
    result = answer(columns, categories=["a", "b"])
    assert result.model.terms == ("a", "b")
    facts = checks(result)["empty cells"].facts
    assert (facts["term"], facts["cells"]) == ("a:b", ("a spelt, b oil",))


def test_what_was_baked_of_an_interaction_with_an_empty_cell_is_tested_all_the_same(answer):
    columns = full([["rye", "wheat", "spelt"], ["oil", "butter"]], 3)
    higher = [pair == ("rye", "oil") for pair in zip(columns["a"], columns["b"], strict=True)]
    columns["y"] = noise(18) + 9.0 * np.array(higher)
    kept = [i for i in range(18) if (columns["a"][i], columns["b"][i]) != ("spelt", "oil")]
    columns = {name: [values[i] for i in kept] for name, values in columns.items()}
    result = answer(columns, categories=["a", "b"])
    line = next(line for line in result.tests if line.term == "a:b")
    check = checks(result)["empty cells"]
    assert (line.df, line.df_error) == (1, 10)
    assert check.verdict == "do not rely"
    assert check.facts["p"] == line.p < 0.001
    assert "What was baked shows that it does" in say_check(check)


def test_too_few_bakes_to_judge_by_leave_an_interaction_with_an_empty_cell_untested(answer):
    columns = {"a": list("rrwwss"), "b": list("obobbb"), "y": noise(6)}
    result = answer(columns, categories=["a", "b"])
    assert checks(result)["empty cells"].facts.get("p") is None
    assert "a:b" not in [line.term for line in result.tests]


def test_a_line_does_not_need_every_cell(answer):
    columns = {"soda": [1, 2, 3, 1, 2, 4, 1, 2, 3], "acid": list("aaabbbccc"), "y": noise(9)}
    result = answer(columns, amounts=["soda"], categories=["acid"])
    assert [line.term for line in result.tests] == ["soda", "acid", "soda:acid"]
    assert "empty cells" not in checks(result)


def test_factors_that_move_together_are_one_effect_and_said_to_be(answer):
    columns = {"soda": [1, 1, 2, 2, 3, 3], "water": [10, 10, 20, 20, 30, 30], "y": noise(6)}
    result = answer(columns, amounts=["soda", "water"])
    assert [line.term for line in result.tests] == ["soda"]
    assert ("soda", "water") in [chain[:2] for chain in result.aliases]
    assert checks(result)["not estimable"].verdict == "do not rely"
    told = {finding.kind: finding for finding in result.evidence}
    assert told["cannot tell"].variables == ("water",)
    assert told["cannot tell"].facts["with"] == ("soda",)
    assert told["cannot tell"].size is None


def test_a_factor_inside_blocks_is_told_apart_from_neither(answer):
    columns = {"recipe": list("aabbaabb"), "bowl": list("11223344"), "oven": [1, 2] * 4, "y": noise(8)}
    result = answer(columns, categories=["recipe"], amounts=["oven"], blocks=("bowl",))
    assert "recipe" not in [line.term for line in result.tests]
    facts = checks(result)
    assert facts["not estimable"].facts["term"] == "recipe"
    assert facts["whole plot"].facts["factor"] == "recipe"
    assert facts["whole plot"].facts["because"] == "constant within"


def test_highest_interactions_give_way_when_no_error_would_be_left(answer):
    columns = {**full([list("abc"), list("xyz")]), "y": noise(9)}
    result = answer(columns, categories=["a", "b"])
    assert [line.term for line in result.tests] == ["a", "b"]
    assert result.residual.df == 4
    assert checks(result)["dropped terms"].facts["terms"] == ("a:b",)
    assert checks(result)["dropped terms"].facts["because"] == "no error df"


def test_partly_aliased_interactions_leave_together(answer):
    # Plackett & Burman 1946, 12 runs: every pair is spread over all other main effects.
    first = [1, 1, -1, 1, 1, 1, -1, -1, -1, 1, -1]
    design = np.array([np.roll(first, shift) for shift in range(11)] + [[-1] * 11], dtype=float)
    columns = {f"f{i}": design[:, i] for i in range(5)}
    result = answer({**columns, "y": noise(12)}, amounts=list(columns))
    assert [line.term for line in result.tests] == list(columns)
    assert result.residual.df == 6
    assert checks(result)["dropped terms"].facts["because"] == "partly aliased"
    assert len(checks(result)["dropped terms"].facts["terms"]) == 10


def test_eleven_factors_in_twelve_bakes_are_judged_by_lenth(answer):
    first = [1, 1, -1, 1, 1, 1, -1, -1, -1, 1, -1]
    design = np.array([np.roll(first, shift) for shift in range(11)] + [[-1] * 11], dtype=float)
    columns = {f"f{i}": design[:, i] for i in range(11)}
    result = answer({**columns, "y": 5 * design[:, 3] + noise(12)}, amounts=list(columns))
    assert len(result.effects) == 11
    assert result.effects[0].margin is not None
    outside = [e.term for e in result.effects if abs(e.effect) > e.simultaneous_margin]
    assert outside == ["f3"]


def test_effects_mixed_with_blocks_are_not_tested(answer):
    columns = full([[-1, 1]] * 3)
    columns["day"] = ["even" if a * b * c > 0 else "odd" for a, b, c in zip(*columns.values(), strict=True)]
    result = answer({**columns, "y": noise(8)}, amounts=["a", "b", "c"], blocks=("day",))
    assert "a:b:c" not in [line.term for line in result.tests]
    assert checks(result)["not estimable"].facts == {"term": "a:b:c", "with": ("day",), "order": 3}
    assert len(result.effects) == 6


def test_only_a_saturated_two_level_design_fits_every_order(answer):
    columns = full([[-1, 1]] * 4, 2)
    result = answer({**columns, "y": noise(32)}, amounts=list("abcd"))
    assert max(line.term.count(":") for line in result.tests) == 1
    assert result.effects[0].margin is None


def test_too_few_bakes_for_the_main_effects_are_answered_without_p(answer):
    columns = {"a": list("xyz"), "y": [1.0, 4.0, 9.0]}
    result = answer(columns, categories=["a"])
    assert result.tests[0].p is None
    assert result.residual.mean_sq is None
    assert {"tests", "comparisons", "residual.mean_sq"} <= set(result.reasons)
    assert checks(result)["saturated"].verdict == "do not rely"
    assert "nothing to judge" in say_check(checks(result)["saturated"])


def test_effects_too_few_for_lenth_are_not_said_to_be_judged_by_it(answer):
    result = answer({**full([[-1, 1]] * 3, 1), "y": [9.0, 9, 9, 9, 11, 11, 11, 11]}, amounts=list("abc"))
    assert result.effects[0].pse is None
    assert checks(result)["saturated"].verdict == "do not rely"
    assert "judged against the small ones" not in say_check(checks(result)["saturated"])


def test_names_with_colons_do_not_collide(answer):
    columns = full([[-1, 1]] * 3, 2)
    columns = {"a": columns["a"], "b": columns["b"], "a:b": columns["c"]}
    y = noise(16) + 20 * np.array(columns["a:b"])
    result = answer({**columns, "y": y}, amounts=["a", "b", "a:b"])
    named = [line for line in result.tests if line.term == "a:b"]
    assert len(named) == 2
    assert named[0].p < 1e-6
    assert result.tests[2].term == "a:b"


@pytest.mark.parametrize("constant", [5.0, 0.0, 1e12])
def test_a_constant_response_is_an_answer_in_itself(answer, constant):
    result = answer({"soda": [1, 2, 1, 2], "y": [constant] * 4}, amounts=["soda"])
    assert result.tests == ()
    assert checks(result)["constant"].verdict == "do not rely"
    assert result.evidence[0].kind == "cannot tell"
    assert result.reasons["tests"]


def test_rounding_in_the_last_digit_is_no_difference(answer):
    result = answer({"soda": [1, 2, 1, 2], "y": [0.3, 0.1 + 0.2, 0.3, 0.3]}, amounts=["soda"])
    assert "constant" in checks(result)


def test_a_factor_that_stood_still_is_named(answer):
    columns = {"soda": [1, 2, 1, 2, 1, 2], "oven": [180] * 6, "y": noise(6)}
    result = answer(columns, amounts=["soda", "oven"])
    assert checks(result)["constant"].facts == {"factor": "oven", "level": "180"}
    assert [line.term for line in result.tests] == ["soda"]
