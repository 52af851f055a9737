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
    ``beside``: a treatment that was baked before and is added with a single one; what is added stands on a day of
    its own, and with nothing known baked on it that day could not be told from the treatment.
    """

    response: str
    why: str
    words: str
    treatments: tuple[Settings, ...]
    spoken: tuple[str, ...]
    times: int = 1
    wanted: int = 0
    beside: Settings | None = None
    beside_spoken: str = ""

    @property
    def added(self) -> tuple[Settings, ...]:
        """The treatments that come into the plan at once, each ``times``."""
        return (*self.treatments, *([self.beside] if self.beside else []))

    @property
    def adds(self) -> int:
        """How many runs come into the plan at once."""
        return self.times * len(self.added)

    @property
    def about_beside(self) -> str:
        """Why a bake that is known is added as well; "" where none is."""
        if not self.beside:
            return ""
        often = "" if self.times == 1 else f" {'twice' if self.times == 2 else f'{self.times} times'}"
        return (
            f"What is added is baked on a day of its own, which may differ from those before. So that the day is not "
            f"taken for the treatment, {self.beside_spoken}, which was baked before, is baked{often} beside it."
        )

    def planned(self, runs: Sequence[Settings]) -> int:
        """How many of these ``runs`` bake one of its treatments."""
        return sum(any(_same(run, treatment) for treatment in self.treatments) for run in runs)

    def summary(self) -> str:
        lines = [self.words, *(f"  - {treatment}" for treatment in self.spoken)]
        return "\n".join([*lines, *([f"  {self.about_beside}"] if self.beside else [])])

    def to_json(self) -> dict[str, Any]:
        return {
            "response": self.response,
            "why": self.why,
            "words": self.words,
            "treatments": [dict(treatment) for treatment in self.treatments],
            "beside": dict(self.beside) if self.beside else None,
        }


def next_bakes_of(store: Store, trial: str) -> tuple[Proposal, ...]:
    """Proposals for all responses, each named once."""
    return proposals_of(analyse_trial(store, trial).analysis, runs_read(store, trial))


def proposals_of(analysis: Analysis, baked: Sequence[Settings] = ()) -> tuple[Proposal, ...]:
    """What an answer proposes to bake, each reason once. ``baked``: the settings of the runs that were read."""
    from analysis.words import say_next, say_treatment

    found: dict[str, Proposal] = {}
    for result in analysis.responses:
        for bakes in result.next_bakes:
            words = say_next(bakes, analysis.question)
            times = 2 if bakes.why in TWICE else 1
            known = beside(bakes.treatments, baked)
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
                    beside=known,
                    beside_spoken=say_treatment(known, analysis.question) if known else "",
                ),
            )
    return tuple(found.values())


def beside(treatments: Sequence[Settings], baked: Sequence[Settings]) -> Settings | None:
    """What to bake beside a single treatment: of the other ones the one that was baked most often, the first of them.

    None where several treatments are compared with each other already, where settings are left open, or where
    nothing else was baked.
    """
    if not treatments or not all(_same(each, treatments[0]) for each in treatments):
        return None
    others = [run for run in baked if not _same(run, treatments[0]) and set(run) == set(treatments[0])]
    return max(others, key=lambda run: sum(_same(other, run) for other in others), default=None)


def runs_read(store: Store, trial: str) -> tuple[Settings, ...]:
    """Settings of the runs that have a reading and are not lost, in the order of the plan."""
    with store.read() as session:
        current = current_trial(session, trial)
    lost = {number for number, outcome in current.outcomes.items() if outcome.state in ("failed", "skipped")}
    return tuple(
        current.settings(run) for run in current.runs if current.readings.get(run.id or 0) and run.id not in lost
    )


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
