"""What should be baked next, and how does it become a plan?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tracker.workflow.analysing import analyse_trial

if TYPE_CHECKING:
    from analysis.results import Analysis
    from tracker.store import Store


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """Treatments to bake and why. ``words`` name the reason, ``spoken`` the treatments."""

    response: str
    why: str
    words: str
    treatments: tuple[Mapping[str, Any], ...]
    spoken: tuple[str, ...]

    def summary(self) -> str:
        return "\n".join([self.words, *(f"  - {treatment}" for treatment in self.spoken)])

    def to_json(self) -> dict[str, Any]:
        return {
            "response": self.response,
            "why": self.why,
            "words": self.words,
            "treatments": [dict(treatment) for treatment in self.treatments],
        }


def next_bakes_of(store: Store, trial: str) -> tuple[Proposal, ...]:
    """Proposals for all responses, each named once."""
    return proposals_of(analyse_trial(store, trial).analysis)


def proposals_of(analysis: Analysis) -> tuple[Proposal, ...]:
    """What an answer proposes to bake, each reason once."""
    from analysis.words import say_next, say_treatment

    found: dict[str, Proposal] = {}
    for result in analysis.responses:
        for bakes in result.next_bakes:
            words = say_next(bakes, analysis.question)
            spoken = tuple(say_treatment(treatment, analysis.question) for treatment in bakes.treatments)
            found.setdefault(
                words,
                Proposal(
                    response=result.response.name,
                    why=bakes.why,
                    words=words,
                    treatments=bakes.treatments,
                    spoken=spoken,
                ),
            )
    return tuple(found.values())
