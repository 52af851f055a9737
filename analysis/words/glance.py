"""What does a busy reader need beside the answer: what to expect at that amount, how it tasted, what is next?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from analysis.results import Analysis, ResponseResult
from analysis.words.amounts import say_range
from analysis.words.next_bakes import say_next
from analysis.words.numbers import join_words, say_count, say_level, start, with_warmth

MOST_TAGS = 3


def say_expected(amount: float, analysis: Analysis, dose_unit: str) -> str:
    """ "What to expect at 1.6 % flour of soda": the caption of that table."""
    part = next(result.family.dose for result in analysis.responses if result.family.dose)
    return f"What to expect at {with_warmth(say_range((amount, amount), part), dose_unit)} of {part.dose}"


def say_rests_on(analysis: Analysis) -> str:
    """ "Rests on 43 bakes. Two checks ask for a look." """
    counted = list(dict.fromkeys(_counted(result) for result in analysis.responses))
    bakes = counted[0] if len(counted) == 1 else join_words(counted)
    verdicts = [check.verdict for result in analysis.responses for check in result.checks]
    if "do not rely" in verdicts:
        return f"Rests on {bakes}. Do not rely on it before reading the checks."
    doubtful = verdicts.count("look here")
    asks = f" {start(say_count(doubtful, 'check asks', 'checks ask'))} for a look." if doubtful else ""
    return f"Rests on {bakes}.{asks}"


def _counted(result: ResponseResult) -> str:
    """Bakes; of scores the readings, which are not averaged."""
    bakes, readings = say_count(result.n_bakes, "bake"), say_count(result.n_readings, "reading")
    if not any(part.key == "scores" for part in result.family.parts):
        return bakes
    return readings if result.n_readings == result.n_bakes else f"{readings} of {bakes}"


def say_taste(tags: Mapping[str, int], notes: int, where: str) -> str:
    """ "Taste at 1.5 % flour of soda: mild (5 of 9 notes), sour (2)." ``tags``: word -> notes that say it."""
    if not tags:
        return f"Taste at {where}: none of {say_count(notes, 'note')} names anything by a tag."
    foremost = sorted(tags.items(), key=lambda item: (-item[1], item[0]))[:MOST_TAGS]
    first, *others = foremost
    named = [f"{first[0]} ({first[1]} of {say_count(notes, 'note')})", *(f"{tag} ({n})" for tag, n in others)]
    return f"Taste at {where}: {', '.join(named)}."


def say_first_next(analysis: Analysis) -> str:
    """The first reason to bake again; "" when nothing is open."""
    proposals = [bakes for result in analysis.responses for bakes in result.next_bakes]
    return f"Next: {say_next(proposals[0], analysis.question)}" if proposals else ""


def say_where(amount: float, dose: str, unit: str, of: Sequence[float]) -> str:
    """The dose of notes that are told of: "1.5 % flour of soda", with the digits as it was set."""
    nearest = min(of, key=lambda value: abs(value - amount))
    return f"{with_warmth(say_level(nearest), unit)} of {dose}"
