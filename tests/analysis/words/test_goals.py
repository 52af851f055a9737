"""Do the sentences about goals and pooled trials read as sentences for bakers?"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.goals.results import Contradiction
from analysis.pooling import TrialAnswer, pool_effects
from analysis.questions import Factor, Question, Response
from analysis.words.goals import say_goals, say_sureness
from analysis.words.pooling import say_pooled

FORBIDDEN = re.compile(r"significan|\bnan\b|\binf\b|None|[{}<>\[\]]|  |\.\.|,,| ,|prove|no difference", re.IGNORECASE)
GRADE = 9.5


def grade(text: str) -> float:
    """Flesch-Kincaid: 0.39 words per sentence + 11.8 syllables per word - 15.59 (Kincaid et al. 1975, from memory)."""
    words = [word for word in re.findall(r"[A-Za-z]+", text)]
    sentences = max(len(re.findall(r"[.!?:;](?:\s|$)", text)), 1)
    count = sum(max(len(re.findall(r"[aeiouy]+", re.sub(r"e$", "", word.lower()))), 1) for word in words)
    return 0.39 * len(words) / sentences + 11.8 * count / len(words) - 15.59


def sentences(accept_rise, accept_taste):
    chance = np.random.Generator(np.random.PCG64(1))
    table = pd.DataFrame({"soda": np.repeat([0.0, 5, 10], 4), "heat": np.tile([0.0, 1.0], 6)})
    table["rise"] = 20 + 4 * table["soda"] + table["heat"] + chance.standard_normal(12)
    table["taste"] = 9 - 0.5 * table["soda"] + 0.3 * chance.standard_normal(12)
    factors = (Factor(name="soda", kind="amount", unit="%"), Factor(name="heat", kind="amount"))
    goals = (
        Response(name="rise", unit="mm", goal="maximise", accept=accept_rise),
        Response(name="taste", goal="maximise", accept=accept_taste),
    )
    analysis = analyse(table, Question(factors=factors, responses=goals, kind="factors"))
    (part,) = [one for one in analysis.parts if one.key == "goals"]
    return part, say_goals(part, analysis, analysis.question)


def faults(said):
    wrong = [one for one in said if FORBIDDEN.search(one)]
    wrong += [one for one in said if not re.match(r"[A-Z0-9]|pH", one) or not one.endswith(".")]
    return wrong


@pytest.mark.parametrize("rise", [None, (30.0, 60.0), (70.0, 90.0), (55.0, 60.0)])
@pytest.mark.parametrize("taste", [None, (5.0, 9.0), (8.0, 9.0)])
def test_every_goal_sentence_reads_as_one(rise, taste):
    _, said = sentences(rise, taste)
    assert faults(said) == []
    assert grade(" ".join(said)) < GRADE


def test_contradicting_goals_say_so_and_never_a_best():
    part, said = sentences((55.0, 60.0), (8.0, 9.0))
    assert part.contradictions == (Contradiction(goals=("rise", "taste")),)
    assert "contradict each other" in said[0]
    assert not any("best compromise of" in one for one in said)


def test_sureness_is_never_certain():
    assert [say_sureness(share) for share in (0.0, 0.003, 0.5, 0.994, 0.999, 1.0)] == [
        "less than 1 %", "less than 1 %", "50 %", "99 %", "more than 99 %", "more than 99 %",
    ]  # fmt: skip


@pytest.mark.parametrize("count", [2, 3, 6])
@pytest.mark.parametrize("slope", [0.0, 3.0])
def test_every_pooled_sentence_reads_as_one(count, slope):
    trials = []
    for at in range(count):
        chance = np.random.Generator(np.random.PCG64(at))
        table = pd.DataFrame({"soda": np.repeat([0.0, 2.0], 5)})
        table["rise"] = 20 + slope * table["soda"] + chance.standard_normal(10)
        asked = Question(
            factors=(Factor(name="soda", kind="amount", unit="%"),),
            responses=(Response(name="rise", unit="mm", matters=2),),
        )
        trials.append(TrialAnswer(name=f"trial {at}", analysis=analyse(table, asked)))
    (effect,) = pool_effects(trials).effects
    said = say_pooled(effect, 0.95)
    assert faults(said) == []
    assert grade(" ".join(said)) < GRADE
