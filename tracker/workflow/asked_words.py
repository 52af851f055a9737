"""How is what was asked of a trial said in one question, with its things and its readings by name?"""

from __future__ import annotations

from tracker.intake.numbers import number_text
from tracker.workflow.answers import listed
from tracker.workflow.wishes import AIMS, Wishes

LONGEST = 300  # characters, so that it still stands at the head of a sheet


def question_of(wishes: Wishes) -> str:
    """ "How much soda gives the best rise height?"; for very long names the aim alone."""
    said = f"{_asked(wishes)}?"
    return said if len(said) <= LONGEST else f"What is asked: {AIMS[wishes.aim]}."


def _asked(wishes: Wishes) -> str:
    names = [factor.name for factor in wishes.factors]
    things = listed(names)
    read = listed([each.name for each in wishes.responses])
    if wishes.aim == "how much":
        amounts = [factor.name for factor in wishes.factors if factor.kind == "amount"] or names
        others = [name for name in names if name != amounts[0]]
        beside = f" when {listed(others)} {'changes' if len(others) == 1 else 'change'} too" if others else ""
        return f"How much {amounts[0]} gives the best {read}{beside}"
    if wishes.aim == "which kind":
        return f"Which {things} {'gives' if len(names) == 1 else 'give'} the best {read}"
    if wishes.aim == "as good":
        return _as_good(wishes, read)
    if wishes.aim == "best setting":
        return f"Which setting of {things} gives the best {read}"
    if wishes.aim == "best blend":
        return f"Which blend of {things} gives the best {read}"
    if len(names) == 1:
        return f"Does {things} matter for {read}"
    return f"Which of {things} matter for {read}"


def _as_good(wishes: Wishes, read: str) -> str:
    first = wishes.factors[0]
    within = ""
    if len(wishes.responses) == 1 and wishes.responses[0].matters is not None:
        only = wishes.responses[0]
        within = f", within {number_text(wishes.responses[0].matters)} {only.unit}".rstrip()
    levels = first.levels if isinstance(first.levels, list) else []
    if len(wishes.factors) > 1 or first.kind != "category" or len(levels) < 2:
        return (
            f"Do other settings of {listed([factor.name for factor in wishes.factors])} give as good a {read}{within}"
        )
    used, others = levels[0], levels[1:]
    return f"{'Is' if len(others) == 1 else 'Are'} {listed(others)} as good as {used} in {read}{within}"
