"""What is the plan for these answers or this plan file, and how does it become a trial?

What was worked out once, which may take seconds, is shown as often as is wanted and released as
it was shown, run for run.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import select

from tracker.errors import InputError
from tracker.intake.plan_file import PlanFile, read_plan
from tracker.intake.plan_tables import LARGEST_SEED, clean_name
from tracker.models import Trial
from tracker.store import Store
from tracker.workflow.planning import LONGEST_TRIAL_NAME, PlannedTrial, plan_trial, slug
from tracker.workflow.questions import Proposal, write_proposal
from tracker.workflow.requests import design_request
from tracker.workflow.wishes import Wishes

if TYPE_CHECKING:
    from analysis.designs.advice import Advice
    from analysis.designs.plan import Plan
    from analysis.designs.trying import Option


@dataclass(frozen=True, kw_only=True)
class Worked:
    """A plan file with the runs laid out of it; ``seed`` None where the file says its own."""

    text: str
    laid: Plan
    seed: int | None = None
    proposal: Proposal | None = None


def draw_seed() -> int:
    """Of order and codes; drawn when the questions begin, so that the plan stays the same until it is released."""
    return secrets.randbelow(LARGEST_SEED)


def work_out(wishes: Wishes, advice: Advice, *, choose: str = "", times: int | None = None) -> Worked:
    """The advised plan, or the one of ``choose`` (a key of the others), each treatment ``times`` times.

    Raises InputError with the nearest way out.
    """
    from analysis.designs.advice import instead, with_repeats
    from analysis.errors import PlanError

    if choose and choose != design_key(advice.chosen):
        advice = instead(advice, _option(advice, choose))
    if times is not None and times != advice.request.replicates:
        try:
            advice = with_repeats(advice, times)
        except PlanError as refused:
            raise InputError(refused.what, where="repeats", try_this=refused.try_this) from refused
    proposal = write_proposal(wishes, advice)
    return Worked(text=proposal.text, laid=advice.chosen.plan, proposal=proposal)


def read_out(text: str, *, seed: int) -> Worked:
    """A plan file laid out; ``seed`` where it says none. Raises InputError, PlanError with what is wrong where."""
    from analysis.designs.plan import lay_out

    read = read_plan(text)  # never a path: what was typed must not open a file of this machine
    drawn = seed if read.design.seed is None else None
    return Worked(text=text, laid=lay_out(design_request(read, drawn)), seed=drawn)


def design_key(option: Option) -> str:
    """ "central composite, 14, 3f0c21": two of a kind and a size may differ in their doses."""
    digest = hashlib.sha256(repr(option.request).encode()).hexdigest()
    return f"{option.request.kind}, {option.bakes}, {digest[:6]}"


def _option(advice: Advice, choose: str) -> Option:
    for option in advice.others:
        if design_key(option) == choose:
            return option
    raise InputError(
        f'"{choose}" is not among the designs for this any more.',
        where="compare",
        try_this="one of those shown, or the advised one",
    )


def release(store: Store, worked: Worked, *, name: str, person: int) -> PlannedTrial:
    """Write what was shown as a trial. Raises Conflict when the name is taken meanwhile."""
    return plan_trial(store, worked.text, name=name, person=person, seed=worked.seed, laid=worked.laid)


def chosen_name(store: Store, worked: Worked, typed: str) -> str:
    """The name that was typed. Raises InputError, with a free one, for what is no name."""
    try:
        return str(clean_name(typed))
    except ValueError as wrong:
        free = free_trial_name(store, read_plan(worked.text))
        raise InputError(f"The name {wrong}.", where="name", try_this=free) from wrong


def free_trial_name(store: Store, read: PlanFile) -> str:
    """The plan's own name or one made from its title, with a number behind it where a trial has it."""
    wanted = read.name or slug(read.title)
    with store.read() as session:
        taken = set(session.exec(select(Trial.name)).all())
    number, found = 2, wanted
    while found in taken:
        found = f"{wanted[: LONGEST_TRIAL_NAME - 5]}-{number}"
        number += 1
    return found
