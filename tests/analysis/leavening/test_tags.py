"""Is a word that follows left-over soda told from one that does not?"""

import numpy as np
import pytest

from analysis.leavening.tags import tag_links

SODA = {str(i): i / 10 for i in range(20)}


def noted(chance, seed=1):
    generator = np.random.Generator(np.random.PCG64(seed))
    return {bake: ["soapy"] if generator.random() < chance(value) else ["fine"] for bake, value in SODA.items()}


def test_pairs_are_counted():
    tags = {"a": ["soapy"], "b": ["soapy"], "c": ["soapy"], "d": [], "e": [], "f": []}
    values = {"a": 3.0, "b": 2.0, "c": 0.5, "d": 1.0, "e": 0.0, "f": 0.5}
    (link,) = tag_links(tags, {"soda left": values})
    # Of nine pairs: a beats 3, b beats 3, c beats e, loses to d and ties with f.
    assert link.share == pytest.approx(7.5 / 9)
    assert (link.bakes_with, link.bakes_without) == (3, 3)


def test_a_word_that_follows_is_found_and_one_that_does_not_is_left_open():
    def verdicts(chance):
        found = [tag_links(noted(chance, seed), {"soda left": SODA}) for seed in range(200)]
        return [link.follows for links in found for link in links if link.tag == "soapy"]

    follows, blind = verdicts(lambda value: 1 / (1 + np.exp(-6 * (value - 1)))), verdicts(lambda value: 0.4)
    assert follows.count("more") >= 0.9 * len(follows)
    assert blind.count("open") >= 0.88 * len(blind)


def test_rare_words_and_columns_that_do_not_vary_are_passed_over():
    rare = {bake: ["odd"] if bake in ("0", "1") else [] for bake in SODA}
    assert tag_links(rare, {"soda left": SODA}) == ()
    assert tag_links(noted(lambda value: 0.5), {"soda left": dict.fromkeys(SODA, 0.0)}) == ()


def test_a_perfect_split_still_has_an_interval():
    tags = {bake: ["soapy"] if value > 1 else [] for bake, value in SODA.items()}
    (link,) = tag_links(tags, {"soda left": SODA})
    assert link.share == 1.0
    assert 0.5 < link.low < 1.0
