"""What is shown of a trial's answer on a page: first the answer at a glance, then part by part what it rests on?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.words.numbers import kept_together, start
from tracker.errors import Conflict
from tracker.workflow.next_bakes import Proposal, proposals_of
from tracker.workflow.reporting import answer_for_report, page_of, report_page, told_of
from tracker.workflow.what_if import Asked, settings_asked

if TYPE_CHECKING:
    from reports.page import Page
    from reports.sections.blocks import Section
    from tracker.store import Store
    from tracker.workflow.analysing import TrialAnalysis
    from tracker.workflow.extending import ExtendedTrial


__all__ = ["Results", "add_proposed", "kept_together", "results_of", "start", "state_of_record"]


@dataclass(frozen=True, kw_only=True)
class Results:
    """An answer and its first page: ``sections`` are the answer and the picture, ``asked`` the "what if" settings."""

    trial: str
    answer: TrialAnalysis
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]
    next_bakes: tuple[Proposal, ...]
    asked: tuple[Asked, ...]

    def can_add(self, proposal: Proposal) -> bool:
        """Does the proposal name bakes, and every setting of them?"""
        factors = {factor.name for factor in self.answer.analysis.question.factors}
        return bool(proposal.treatments) and all(factors <= set(each) for each in proposal.treatments)

    def whole(self) -> Page:
        """Every part of the kitchen report; drawing all of it takes seconds."""
        return page_of(self.answer)

    def html(self) -> str:
        """The report as one file."""
        return report_page(self.answer)


def state_of_record(store: Store) -> str:
    """The same as long as nothing was entered: an answer kept under it is still right."""
    from tracker.store import chain_of

    with store.read() as session:
        return chain_of(session.connection()).head


def results_of(store: Store, trial: str) -> Results:
    """Analyse a trial for its page; one without an answer says why. Raises NotFound with the nearest name."""
    from reports.sections.answer import answer_section
    from reports.sections.glance import glance_section
    from reports.sections.numbering import Keys

    answer = answer_for_report(store, trial)
    told = told_of(answer)
    if answer.why_none is not None:
        return Results(trial=trial, answer=answer, sections=(), cautions=told.cautions, next_bakes=(), asked=())
    analysis = answer.analysis
    first = (answer_section(analysis), glance_section(analysis, told.chemistry, told.notes, Keys()))
    return Results(
        trial=trial,
        answer=answer,
        sections=tuple(section for section in first if section is not None),
        cautions=told.cautions,
        next_bakes=proposals_of(analysis),
        asked=settings_asked(analysis),
    )


def add_proposed(store: Store, results: Results, words: str, *, person: int) -> ExtendedTrial:
    """Add the runs of the proposal that says ``words``. Raises Conflict when it is proposed no longer."""
    from analysis.designs.further import Further
    from tracker.workflow.extending import extend_trial

    chosen = next((each for each in results.next_bakes if each.words == words), None)
    if chosen is None:
        raise Conflict(
            "This is not proposed any more: the answer has changed since the page was loaded.",
            where=f'trial "{results.trial}"',
            try_this="look at what is proposed now",
        )
    further = Further(way="chosen", treatments=chosen.treatments)
    return extend_trial(store, results.trial, further, reason=chosen.words, person=person)
