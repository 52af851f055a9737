"""What does somebody who has never written a plan have to be asked?

An interview without a screen: it gives one question at a time, takes the text that was
answered, refuses what cannot be with the reason, and goes back. What was asked for then
becomes advice and the text of a plan file.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tracker.errors import InputError
from tracker.intake.numbers import number_text
from tracker.intake.plan_tables import LARGEST_SEED
from tracker.workflow.asked_words import question_of
from tracker.workflow.plan_text import RESPONSE, Draft, plan_text
from tracker.workflow.question_script import Formulas, script
from tracker.workflow.wishes import Asked, Wishes

if TYPE_CHECKING:
    from analysis.designs.advice import Advice


class Interview:
    """The questions in their order. ``formulas``: name -> ingredients of the formulas that the kitchen has.

    ``question`` is the one to ask now, None at the end, when ``wishes`` are whole. The texts
    that were ``given`` bring a page back to where it was.
    """

    def __init__(self, formulas: Formulas | None = None, given: Sequence[str] = ()) -> None:
        self.formulas = dict(formulas or {})
        self._begin(given)

    def _begin(self, given: Sequence[str]) -> None:
        self.given: list[str] = []
        self.wishes = Wishes()
        self._script = script(self.wishes, self.formulas)
        self.question: Asked | None = next(self._script)
        for text in given:
            refusal = self.answer(text)
            if refusal is not None:
                raise refusal

    def answer(self, text: str) -> InputError | None:
        """Take an answer (empty: the default). When it cannot be, nothing moves and the reason comes back."""
        assert self.question is not None, "the interview is over"
        try:
            value = self.question.read(text.strip() or self.question.default)
        except InputError as refusal:
            return refusal
        self.given.append(text.strip())
        try:
            self.question = self._script.send(value)
        except StopIteration:
            self.question = None
        return None

    def back(self) -> bool:
        """To the question before; False at the first."""
        if not self.given:
            return False
        self._begin(self.given[:-1])
        return True

    def back_to(self, key: str) -> None:
        """To the last question of that kind, or to the first."""
        while self.back() and self.question is not None and self.question.key != key:
            pass


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """What is advised for some wishes, and the plan file that asks for it."""

    advice: Advice
    text: str
    title: str

    @property
    def file_name(self) -> str:
        from tracker.workflow.planning import slug

        return f"{slug(self.title)}.toml"

    def summary(self) -> str:
        """The advice in paragraphs, at most 100 columns wide."""
        from textwrap import fill

        from analysis.words.advice import say_advice

        return "\n\n".join(fill(part, 100, break_long_words=False) for part in say_advice(self.advice))

    def to_json(self) -> dict[str, Any]:
        from analysis.words.advice import say_advice

        other = self.advice.runner_up
        return {
            "chosen": self.advice.chosen.to_json(),
            "runner_up": None if other is None else other.to_json(),
            "words": list(say_advice(self.advice)),
            "plan": self.text,
        }


def propose(wishes: Wishes, *, seed: int | None = None) -> Proposal:
    """The design for what was asked for, written as a plan file. Raises InputError with the nearest way out."""
    return write_proposal(wishes, advise_on(wishes, seed=seed))


def advise_on(wishes: Wishes, *, seed: int | None = None) -> Advice:
    """The designs that fit, the advised one first. Raises InputError with the nearest way out."""
    from analysis.designs.advice import advise
    from analysis.designs.requests import DesignResponse
    from analysis.designs.situations import Situation
    from analysis.errors import PlanError
    from tracker.workflow.requests import design_factor

    situation = Situation(
        aim=wishes.aim,  # type: ignore[arg-type]  # the script offers these only, and a test compares them
        factors=tuple(design_factor(factor) for factor in wishes.factors),
        responses=tuple(
            DesignResponse(name=each.name, unit=each.unit, spread=each.spread, matters=each.matters)
            for each in wishes.responses
        ),
        bakes_a_day=wishes.bakes_a_day,
        most_bakes=wishes.most_bakes,
        seed=secrets.randbelow(LARGEST_SEED) if seed is None else seed,
    )
    try:
        return advise(situation)
    except PlanError as refused:
        raise InputError(refused.what, where=refused.where, try_this=refused.try_this) from refused


def write_proposal(wishes: Wishes, advice: Advice) -> Proposal:
    """The plan file of what is advised."""
    return Proposal(advice=advice, text=plan_text(_draft(wishes, advice), advice.request), title=wishes.title)


def _draft(wishes: Wishes, advice: Advice) -> Draft:
    from analysis.words.advice import say_reason, say_size

    about = " ".join(map(say_reason, advice.reasons))
    return Draft(
        title=wishes.title,
        question=question_of(wishes),
        factors=tuple(wishes.factors),
        responses=tuple(wishes.responses),
        formula=wishes.formula,
        flour_per_bake_g=wishes.flour_per_bake_g,
        remarks=(
            f"A plan of {say_size(advice.chosen)}. {about}",
            *map(say_reason, advice.cautions),
            "Change what you like; text behind a # is not read.",
        ),
        notes=_notes(wishes),
    )


def _notes(wishes: Wishes) -> dict[tuple[str, str], str]:
    """Where what is written of a response is from."""
    spreads = {
        (name, "spread"): f"standard deviation; two bakes of the same thing differ by about {number_text(value)}"
        for name, value in wishes.differ.items()
    }
    ranges = {(name, "plausible"): f"{RESPONSE['plausible']}; {why}" for name, why in wishes.proposed.items()}
    return spreads | ranges
