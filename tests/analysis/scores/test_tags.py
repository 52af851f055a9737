"""Which taste words go with which factor, each bake once and exactly?"""

from __future__ import annotations

from itertools import combinations

import pytest
from scipy.stats import fisher_exact

from analysis.questions import Factor
from analysis.scores.tags import table_p, tags_part, trend_p
from analysis.words.tags import say_tags

FACTORS = (
    Factor(name="acid", kind="category", levels=("lemon", "yogurt")),
    Factor(name="soda", kind="amount", unit="%"),
)


def noted(*, soapy_from=2.0, repeats=1):
    tags, settings = {}, {}
    for acid in ("lemon", "yogurt"):
        for dose in (0.5, 1.0, 1.5, 2.0, 2.5) * 2:
            bake = f"b{len(tags)}"
            tags[bake] = (["soapy"] if dose >= soapy_from else ["plain"]) * repeats
            settings[bake] = {"acid": acid, "soda": dose}
    return tags, settings


def test_two_levels_are_fishers_test():
    for having, total in (((1, 7), (8, 9)), ((3, 3), (9, 4)), ((0, 5), (6, 6))):
        table = [list(having), [n - h for h, n in zip(having, total, strict=True)]]
        assert table_p(having, total) == pytest.approx(fisher_exact(table).pvalue, rel=1e-9)


def test_more_levels_are_the_exact_test_of_the_table():
    # R 4.2.2: fisher.test(matrix(c(0,6,1,4,5,2,4,1), nrow = 2))$p.value
    assert table_p((0, 1, 5, 4), (6, 5, 7, 5)) == pytest.approx(0.0116391886482, rel=1e-7)


def test_a_trend_is_counted_out():
    doses = [0.5, 0.5, 1.0, 1.0, 1.0, 2.0, 2.0, 3.0]
    chosen = (2, 5, 6, 7)
    seen = sum(doses[at] for at in chosen)
    sums = [sum(doses[at] for at in which) for which in combinations(range(8), 4)]
    upper = sum(s >= seen - 1e-9 for s in sums) / len(sums)
    lower = sum(s <= seen + 1e-9 for s in sums) / len(sums)
    assert trend_p((0, 1, 2, 1), (2, 3, 2, 1), (0.5, 1.0, 2.0, 3.0)) == pytest.approx(min(1, 2 * min(upper, lower)))


def test_the_word_that_follows_the_soda_is_named_and_the_acid_is_not():
    part = tags_part(*noted(), FACTORS)
    first = part.links[0]
    assert (first.factor, first.p_adjusted < 0.05) == ("soda", True)
    soapy = next(one for one in part.links if (one.tag, one.factor) == ("soapy", "soda"))
    assert soapy.direction == "more"
    assert soapy.having == {"0.5": 0, "1": 0, "1.5": 0, "2": 4, "2.5": 4}
    acid = [one for one in part.links if one.factor == "acid"]
    assert all(one.p_adjusted == 1 for one in acid)
    said = " ".join(say_tags(part, None, None))
    assert '"soapy" was said where there was more soda' in said
    assert "acid" not in said


def test_many_notes_of_one_bake_add_nothing():
    assert tags_part(*noted(repeats=5), FACTORS) == tags_part(*noted(), FACTORS)


def test_words_of_too_few_bakes_are_passed_over_and_said():
    tags, settings = noted()
    tags["b0"] = [*tags["b0"], "metallic"]
    part = tags_part(tags, settings, FACTORS)
    assert part.passed_over == ("metallic",)
    assert "metallic" in " ".join(say_tags(part, None, None))
    assert tags_part({"b0": ["soapy"]}, {"b0": settings["b0"]}, FACTORS) is None


def test_what_follows_nothing_is_said_to_be_open():
    tags, settings = noted()
    mixed = {bake: ["soapy"] if at % 2 else [] for at, bake in enumerate(tags)}
    part = tags_part(mixed, settings, FACTORS)
    assert part.links[0].p_adjusted > 0.05
    assert "No word can be told" in say_tags(part, None, None)[0]
