"""What does a class need beside the findings: each idea in a line, safety, and questions of its own?

The lines themselves stand in the glossary; here stands which words bring an idea up. Questions are
made of one trial's numbers, each with its answer.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.words.glossary import GLOSSARY
from analysis.words.numbers import (
    half_width,
    number_shown,
    say_count,
    say_fixed,
    say_interval,
    say_level,
    say_number,
    say_share,
    with_unit,
)

if TYPE_CHECKING:
    from analysis.questions import Question
    from analysis.results import BakePoint, Finding, ResponseResult

# Idea -> what is looked for in a text; where it is met first, the line of the glossary is put.
BROUGHT_UP: dict[str, re.Pattern[str]] = {
    "interval": re.compile(r"\bintervals?\b"),
    "difference that matters": re.compile(r"\bmatters?\b"),
    "replicate": re.compile(r"\bbakes\b|\breplicates?\b"),
    "repeat": re.compile(r"\breadings?\b|\brepeats?\b"),
    "interaction": re.compile(r"\binteractions?\b|\bdepends on\b"),
    "block": re.compile(r"\bblocks?\b"),
    "residual": re.compile(r"\bresiduals?\b"),
    "p": re.compile(r"\bp [=<>] ?\d"),
    "pH": re.compile(r"\bpH\b"),
    "acid-base balance": re.compile(r"\bleft over\b|\bleft \(|\bacid-base\b"),
    "neutralising value": re.compile(r"\bacid left\b|\bneutrali"),
}

# Common practice of teaching kitchens; that raw flour and egg can carry germs is what food safety agencies warn of.
SAFETY = (
    "Ovens, trays and steam burn: dry gloves, sleeves up, and an adult at the oven door.",
    "Raw flour and raw egg can carry germs: nobody tastes batter or dough, hands and benches are washed afterwards.",
    "Ask for allergies before anything is opened: wheat, milk, egg, nuts and soy are the usual ones. Who must not eat "
    "it can measure, weigh and look.",
    "Soda and acid give gas: never close a jar, bottle or bag on them. It can burst.",
    "Tasting is of your own free will, of baked goods only. Follow the school's rules and the local codes for food.",
)


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A question for the class with its answer."""

    question: str
    answer: str


def idea(term: str) -> str:
    """The line of an idea, in the glossary's words."""
    return GLOSSARY[term]


def ask_interval(finding: Finding, result: ResponseResult, question: Question) -> Asked:
    """Does the interval of the foremost effect hold 0?"""
    assert finding.low is not None
    assert finding.high is not None
    step = half_width(finding.low, finding.high)
    named = " and ".join(finding.variables)
    size = with_unit(say_number(finding.size, step), finding.unit)
    asked = (
        f"The effect of {named} on {result.response.name} was found to be {size} "
        f"({say_interval(finding.low, finding.high, question.confidence)}). Does the interval hold 0, and what would "
        "it mean if it did?"
    )
    if finding.low <= 0 <= finding.high:
        told = f"Yes. These bakes agree with no effect of {named} at all; more bakes would make the interval narrower."
    else:
        told = f"No. If {named} did nothing, intervals made this way would leave out 0 in only " + (
            f"{say_share(1 - question.confidence)} of such trials; so {named} very likely moves {result.response.name}."
        )
    return Asked(question=asked, answer=told)


def ask_matters(finding: Finding, result: ResponseResult, matters: float) -> Asked:
    """Does all of the interval lie beyond the difference that matters?"""
    assert finding.low is not None
    assert finding.high is not None
    step = half_width(finding.low, finding.high)
    low, high = say_number(finding.low, step), say_number(finding.high, step)
    worth = with_unit(say_number(matters), finding.unit)
    named = " and ".join(finding.variables)
    asked = (
        f"A change in {result.response.name} of {worth} is worth acting on. The effect of {named} lies between "
        f"{low} and {with_unit(high, finding.unit)}. Is it large enough, too small, or can that not be told?"
    )
    least = 0.0 if finding.low <= 0 <= finding.high else min(abs(finding.low), abs(finding.high))
    most = max(abs(finding.low), abs(finding.high))
    if least >= matters:
        told = f"Large enough: all of the interval lies beyond {worth}."
    elif most < matters:
        told = f"Too small: none of the interval reaches {worth}."
    else:
        told = (
            f"It cannot be told yet: the interval reaches from below {worth} to above it. More bakes would narrow it."
        )
    return Asked(question=asked, answer=told)


def ask_bakes(result: ResponseResult, treatments: int) -> Asked:
    """Which number tells how often it was tried: readings or bakes?"""
    bakes, readings = say_count(result.n_bakes, "bake"), say_count(result.n_readings, "reading")
    name = result.response.name
    if result.n_readings > result.n_bakes:
        times = say_number(result.n_readings / result.n_bakes)
        return Asked(
            question=f"There are {readings} of {name} from {bakes}. How many times was something tried independently?",
            answer=f"{say_count(result.n_bakes, 'time')}: each bake counts once. Readings of one bake are repeats; "
            f"counting them all would make the trial look {times} times as large as it is.",
        )
    each = say_number(result.n_bakes / treatments)
    return Asked(
        question=f"There were {bakes} of {say_count(treatments, 'treatment')}. How many bakes is that for each "
        "treatment, and what would be missing if it were one?",
        answer=f"{each} on average. With one bake each, the scatter between bakes made alike could not be seen, "
        "and nothing would tell an effect from chance.",
    )


def ask_residual(point: BakePoint, result: ResponseResult, spread: float) -> Asked:
    """What is the residual of one bake, and is it large?"""
    assert point.fitted is not None
    unit = result.response.unit
    observed, fitted = (say_number(value, spread) for value in (point.observed, point.fitted))
    # Taken from the digits that are shown, so that who works it out comes to the same.
    left = (number_shown(observed) or 0.0) - (number_shown(fitted) or 0.0)
    times = say_fixed(abs(left) / spread, 1)
    scatter = with_unit(say_number(spread, spread), unit)
    return Asked(
        question=f"Bake {point.bake} gave a {result.response.name} of {with_unit(observed, unit)}; the model "
        f"expected {with_unit(fitted, unit)}. What is "
        f"its residual, and how does it compare with the scatter between bakes of {scatter}?",
        answer=f"{with_unit(say_number(left, spread), unit)}: {times} times the scatter. About one bake in twenty lies "
        "more than two scatters away by chance alone.",
    )


def ask_soda(settings: str, soda_left_g: float, tartar_value: float) -> Asked:
    """How much acid would use up what is left over?"""
    acid = 100 * soda_left_g / tartar_value
    return Asked(
        question=f"With {settings}, {say_fixed(soda_left_g, 2)} g of soda is left over for 100 g of flour. Cream of "
        f"tartar has a neutralising value of {say_level(tartar_value)}. How much of it would use up that soda?",
        answer=f"{say_fixed(soda_left_g, 2)} × 100 / {say_level(tartar_value)} = {say_fixed(acid, 2)} g for 100 g of "
        "flour.",
    )
