"""Is advice said in words that somebody who knows no theory can read?"""

import re
from dataclasses import replace
from itertools import product

import pytest

from analysis.designs import advice as advising
from analysis.designs import candidates
from analysis.designs.advice import advise
from analysis.designs.requests import DesignFactor, DesignResponse
from analysis.designs.situations import AIMS, Situation
from analysis.errors import PlanError
from analysis.words.advice import WORDS, say_advice, say_runner_up

GRADE = 9.0
RISE = DesignResponse(name="rise height", unit="mm", spread=2.0, matters=3.0)
SODA = DesignFactor(name="soda", kind="amount", unit="% flour", low=0.5, high=2.5)
MILK = DesignFactor(name="milk", kind="amount", unit="% flour", low=50, high=70)
FAT = DesignFactor(name="fat", kind="category", levels=("butter", "oil"))
OVEN = DesignFactor(name="oven", kind="amount", unit="°C", low=170, high=200, hard_to_change=True)
SETS = [(SODA,), (FAT,), (SODA, FAT), (SODA, MILK)]
SLOW = [(OVEN, SODA, FAT), (SODA, MILK, FAT), tuple(replace(SODA, name=f"soda {n}") for n in range(7))]
RESPONSES = [(RISE,), (replace(RISE, spread=None),), (replace(RISE, matters=None),), ()]


def syllables(word):
    word = re.sub(r"[^a-z]", "", word.lower())
    groups = len(re.findall(r"[aeiouy]+", word))
    silent = word.endswith("e") and not word.endswith(("le", "ee")) and groups > 1
    return max(groups - silent, 1)


def reading_grade(text):
    """Flesch-Kincaid grade (Kincaid et al. 1975, from memory)."""
    sentences = max(len(re.findall(r"[.!?](?:\s|$)", text)), 1)
    words = [word for word in text.split() if re.search(r"\w", word)]
    return 0.39 * len(words) / sentences + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def all_advice():
    cases = [
        *product(AIMS, SETS[:3], RESPONSES[:1], [(8, 24), (None, None)]),
        *product(AIMS[:3], SETS, RESPONSES[1:], [(9, 9)]),
        *product(AIMS[:1], SLOW, RESPONSES[:1], [(5, 24)]),
    ]
    for aim, factors, responses, (day, most) in cases:
        asked = Situation(aim=aim, factors=factors, responses=responses, bakes_a_day=day, most_bakes=most)
        try:
            yield advise(asked)
        except PlanError:
            continue


@pytest.fixture(scope="module")
def said():
    return [(advice, say_advice(advice)) for advice in all_advice()]


def test_advice_reads_easily(said):
    assert len(said) > 50
    hard = {
        part: grade
        for _, parts in said
        for part in parts
        # The names of designs and units are not ours to shorten.
        if (grade := reading_grade(re.sub(r'"[^"]*"', "it", part))) > GRADE
    }
    assert hard == {}


def test_advice_says_kind_bakes_and_what_the_next_best_costs(said):
    for advice, parts in said:
        assert parts[0].startswith(f'Advised: "{advice.request.kind}" with {advice.chosen.bakes} bakes')
        other = say_runner_up(advice)
        if advice.runner_up is None:
            assert other is None
            continue
        more = advice.runner_up.bakes - advice.chosen.bakes
        if more:
            assert f"{abs(more)} {'more' if more > 0 else 'fewer'} bake" in other
        assert not re.search(r"None|nan|\{", " ".join(parts))


def test_every_reason_has_words():
    from inspect import getsource

    keys = set(re.findall(r'Reason\(\s*key="([^"]+)"', getsource(advising) + getsource(candidates)))
    assert len(keys) > 20
    assert keys == set(WORDS)
