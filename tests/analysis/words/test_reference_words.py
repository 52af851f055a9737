"""With a reference named, and with a margin asked about, the headline, the findings and the next bakes say the same."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Margin, Question, Response
from analysis.serialise import analysis_json
from analysis.words import analysis_text, headline

MEANS = {"butter": 40.0, "oil": 40.2, "lard": 43.0, "ghee": 38.0}


def answer(fats=tuple(MEANS), *, reference=None, **response):
    chance = np.random.Generator(np.random.PCG64(3))
    table = pd.DataFrame({"fat": list(fats) * 8})
    table["rise"] = table["fat"].map(MEANS) + chance.normal(0, 0.8, len(table))
    factor = Factor(name="fat", kind="category", levels=tuple(fats), reference=reference)
    asked = Response(name="rise", unit="mm", **response)
    return analyse(table, Question(factors=(factor,), responses=(asked,)))


def test_beside_a_reference_the_first_finding_is_dunnetts_largest_difference_from_it():
    analysis = answer(reference="butter")
    result = analysis.responses[0]
    first = analysis.findings[0]
    largest = max(result.family.comparisons, key=lambda one: abs(one.difference))
    assert {one.method for one in result.family.comparisons} == {first.facts["method"]} == {"Dunnett"}
    assert (first.facts["from"], first.facts["to"]) == ("butter", largest.a)
    assert (first.size, first.low, first.high) == (largest.difference, largest.low, largest.high)
    assert "against butter" in headline(analysis)


def test_without_a_reference_the_largest_of_all_pairs_leads():
    first = answer().findings[0]
    assert first.facts["method"] == "Tukey-Kramer"
    assert (first.facts["from"], first.facts["to"]) == ("ghee", "lard")


def test_levels_beside_the_reference_stand_in_json_too():
    analysis = answer(reference="butter")
    said = analysis_json(analysis)["responses"][0]["asked_for"]
    assert len(said) == 1
    assert "each fat less butter" in said[0]
    assert " ".join(said[0].split()).replace("-", "−")[:40] in " ".join(analysis_text(analysis).split())


def test_two_levels_are_compared_with_the_reference_whichever_comes_first():
    first = answer(("oil", "butter"), reference="butter").findings[0]
    back = answer(("oil", "butter"), reference="oil").findings[0]
    assert (first.facts["from"], first.facts["to"]) == ("butter", "oil")
    assert (first.size, first.low, first.high) == pytest.approx((-back.size, -back.high, -back.low))


def test_as_good_leads_and_nothing_speaks_against_it():
    analysis = answer(("butter", "oil"), margin=Margin(low=-2, high=2), matters=0.5)
    said = " ".join(analysis_text(analysis).split())
    assert headline(analysis).startswith("Oil is as good as butter for rise, within 2 mm")
    assert analysis.findings[0].kind == "equivalence"
    assert "cannot tell" not in said
    assert analysis.responses[0].next_bakes == ()


def test_what_is_not_settled_is_still_called_open():
    analysis = answer(("butter", "oil"), margin=Margin(low=-0.5, high=0.5), matters=0.5)
    assert headline(analysis).startswith("This trial cannot tell if oil is as good as butter")
    assert analysis.responses[0].next_bakes


def test_a_ratio_says_that_it_was_judged_on_logarithms():
    ratio = headline(answer(("butter", "oil"), margin=Margin(low=0.95, high=1.05, ratio=True)))
    assert "a ratio judged on logarithms" in ratio
    assert "% of it (90 % interval" in ratio
    assert "logarithms" not in headline(answer(("butter", "oil"), margin=Margin(low=-2, high=2)))
