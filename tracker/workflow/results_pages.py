"""What is shown of a trial's answer on a page: first the answer at a glance, then part by part what it rests on?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.words.numbers import kept_together, start
from tracker.errors import Conflict
from tracker.workflow.next_bakes import Proposal, Settings, proposals_of, runs_read, runs_to_come
from tracker.workflow.once import head_in
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
    """An answer and its first page: ``sections`` are the answer and the picture, ``asked`` the "what if" settings.

    ``to_come`` are the settings of the runs that are planned and not read yet.
    """

    trial: str
    answer: TrialAnalysis
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]
    next_bakes: tuple[Proposal, ...]
    asked: tuple[Asked, ...]
    to_come: tuple[Settings, ...] = ()

    def is_whole(self, proposal: Proposal) -> bool:
        """Does the proposal name bakes, and every setting of them?"""
        factors = {factor.name for factor in self.answer.analysis.question.factors}
        return bool(proposal.treatments) and all(factors <= set(each) for each in proposal.treatments)

    def can_add(self, proposal: Proposal) -> bool:
        """Can its bakes be planned by a tap, and do not all of them stand in the plan already?"""
        return self.is_whole(proposal) and proposal.planned(self.to_come) < proposal.wanted

    def about_adding(self, proposal: Proposal) -> str:
        """What stands in the plan already, and what is left after one tap; "" where the button says it all."""
        planned = proposal.planned(self.to_come)
        left = proposal.wanted - planned - proposal.times * len(proposal.treatments)
        if not planned and left <= 0:
            return proposal.about_beside
        already = f"{planned} of these bakes {'stands' if planned == 1 else 'stand'} in the plan and "
        already += f"{'is' if planned == 1 else 'are'} not read yet."
        if planned >= proposal.wanted:
            return already
        once = "one of each treatment" if proposal.times == 1 else f"{proposal.times} of each treatment"
        if proposal.beside:
            once += " and of what is baked beside it"
        one_tap = f"One tap adds {proposal.adds}, {once}" + (f"; about {left} then remain." if left > 0 else ".")
        one_tap += f" {proposal.about_beside}" if proposal.beside else ""
        return f"{already} {one_tap}" if planned else one_tap

    def whole(self) -> Page:
        """Every part of the kitchen report; drawing all of it takes seconds."""
        return page_of(self.answer)

    def html(self) -> str:
        """The report as one file."""
        return report_page(self.answer)


def state_of_record(store: Store) -> str:
    """The same as long as nothing was entered: an answer kept under it is still right."""
    with store.ask() as connection:
        return head_in(connection)


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
        next_bakes=proposals_of(analysis, runs_read(store, trial)),
        asked=settings_asked(analysis),
        to_come=runs_to_come(store, trial),
    )


def add_proposed(store: Store, results: Results, words: str, *, person: int) -> ExtendedTrial:
    """Add the runs of one tap on the proposal that says ``words``.

    Raises Conflict when it is proposed no longer, or when all of its bakes stand in the plan already.
    """
    from analysis.designs.further import Further
    from tracker.workflow.extending import extend_trial

    chosen = next((each for each in results.next_bakes if each.words == words), None)
    if chosen is None:
        raise Conflict(
            "This is not proposed any more: the answer has changed since the page was loaded.",
            where=f'trial "{results.trial}"',
            try_this="look at what is proposed now",
        )
    if results.is_whole(chosen) and not results.can_add(chosen):
        raise Conflict(
            results.about_adding(chosen), where=f'trial "{results.trial}"', try_this="bake and read them first"
        )
    further = Further(way="chosen", count=chosen.times, treatments=chosen.added)
    return extend_trial(store, results.trial, further, reason=chosen.words, person=person)
