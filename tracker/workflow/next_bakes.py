"""What should be baked next, and how does it become a plan?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isclose
from typing import TYPE_CHECKING, Any

from tracker.current import current_trial
from tracker.workflow.analysing import analyse_trial

if TYPE_CHECKING:
    from analysis.results import Analysis
    from tracker.store import Store


Settings = Mapping[str, Any]
# Whose sentence asks for each treatment twice; the others ask for one, or say how many bakes in all.
TWICE = frozenset({"bake the best", "bake the best doses", "bake for all goals"})


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """Treatments to bake and why. ``words`` name the reason, ``spoken`` the treatments.

    ``times``: how often each treatment is added to the plan at once; ``wanted``: the bakes that ``words`` speak of.
    """

    response: str
    why: str
    words: str
    treatments: tuple[Settings, ...]
    spoken: tuple[str, ...]
    times: int = 1
    wanted: int = 0

    @property
    def adds(self) -> int:
        """How many runs come into the plan at once."""
        return self.times * len(self.treatments)

    def planned(self, runs: Sequence[Settings]) -> int:
        """How many of these ``runs`` bake one of its treatments."""
        return sum(any(_same(run, treatment) for treatment in self.treatments) for run in runs)

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
            times = 2 if bakes.why in TWICE else 1
            spoken = tuple(say_treatment(treatment, analysis.question) for treatment in bakes.treatments)
            found.setdefault(
                words,
                Proposal(
                    response=result.response.name,
                    why=bakes.why,
                    words=words,
                    treatments=bakes.treatments,
                    spoken=spoken,
                    times=times,
                    wanted=int(bakes.facts.get("more") or times * len(spoken)),
                ),
            )
    return tuple(found.values())


def runs_to_come(store: Store, trial: str) -> tuple[Settings, ...]:
    """Settings of the runs that stand in the plan, are not lost and have no reading yet."""
    with store.read() as session:
        current = current_trial(session, trial)
    lost = {number for number, outcome in current.outcomes.items() if outcome.state in ("failed", "skipped")}
    return tuple(
        current.settings(run) for run in current.runs if not current.readings.get(run.id or 0) and run.id not in lost
    )


def _same(run: Settings, treatment: Settings) -> bool:
    return all(name in run and _equal(run[name], level) for name, level in treatment.items())


def _equal(one: Any, other: Any) -> bool:
    if isinstance(one, int | float) and isinstance(other, int | float):
        return isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)
    return bool(one == other)
