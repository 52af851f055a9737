"""What does a plan show before it is released, and what would another design cost or see?

A plan that was worked out once (``worked_out``, which may take seconds) is shown as often as is
wanted; what is shown is what is released, run for run.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import select

from analysis.words.numbers import start
from analysis.words.proposals import (
    CHEMISTRY,
    CHEMISTRY_FOR,
    chemistry_row,
    compared,
    said_setting,
    say_seen,
    say_settings,
    say_size_facts,
    say_unpriced,
    say_weight,
    say_why,
)
from tracker.errors import InputError
from tracker.intake.plan_file import PlanFile, read_plan
from tracker.intake.plan_tables import LARGEST_SEED, clean_name
from tracker.models import Trial
from tracker.store import Store
from tracker.workflow.answers import DAY
from tracker.workflow.plan_takes import Takes, what_it_takes
from tracker.workflow.planning import LONGEST_TRIAL_NAME, PlannedTrial, plan_trial, preview_plan, slug
from tracker.workflow.questions import Proposal, advise_on, write_proposal
from tracker.workflow.requests import design_request
from tracker.workflow.wishes import Wishes

if TYPE_CHECKING:
    from analysis.designs.advice import Advice
    from analysis.designs.plan import Plan
    from analysis.designs.trying import Option

SEARCHED = ("optimal", "constrained mixture")  # as large as their runs; repeats do not multiply them
Facts = tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class Worked:
    """A plan file with the runs laid out of it; ``seed`` None where the file says its own."""

    text: str
    laid: Plan
    seed: int | None = None
    proposal: Proposal | None = None


@dataclass(frozen=True, kw_only=True)
class OtherDesign:
    """Another design for the same question. ``key`` asks for it."""

    key: str
    kind: str
    why: str
    facts: Facts


@dataclass(frozen=True, kw_only=True)
class Treatment:
    """One treatment and what its dough gives; ``senseless``: soapy or sour by the account."""

    words: str
    row: tuple[str, ...]
    senseless: bool


@dataclass(frozen=True, kw_only=True)
class ShownRun:
    order: int
    code: str
    block: str
    settings: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class PlanView:
    """Everything a page says of a plan."""

    title: str
    name: str
    question: str
    kind: str
    advised: tuple[str, ...]
    takes: Facts
    ingredients: Facts
    tells: tuple[str, ...]
    sure: tuple[str, ...]
    mixed: tuple[str, ...]
    how: tuple[str, ...]
    cautions: tuple[str, ...]
    chemistry: tuple[Treatment, ...]
    others: tuple[OtherDesign, ...]
    factors: tuple[str, ...]
    runs: tuple[ShownRun, ...]
    block: str
    chemistry_columns: tuple[str, ...] = CHEMISTRY
    chemistry_for: str = CHEMISTRY_FOR
    repeats: int
    repeatable: bool
    has_formula: bool


def draw_seed() -> int:
    """Of order and codes; drawn when the questions begin, so that the plan stays the same until it is released."""
    return secrets.randbelow(LARGEST_SEED)


def work_out(wishes: Wishes, *, seed: int, choose: str = "", times: int | None = None) -> Worked:
    """The advised plan, or the one of ``choose`` (a key of the others), each treatment ``times`` times.

    Raises InputError with the nearest way out.
    """
    from analysis.designs.advice import instead, with_repeats
    from analysis.errors import PlanError

    advice = advise_on(wishes, seed=seed)
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
    """ "central composite, 14"."""
    return f"{option.request.kind}, {option.bakes}"


def _option(advice: Advice, choose: str) -> Option:
    for option in advice.others:
        if design_key(option) == choose:
            return option
    raise InputError(
        f'"{choose}" is not among the designs for this any more.',
        where="compare",
        try_this="one of those shown, or the advised one",
    )


def view_plan(store: Store, worked: Worked) -> PlanView:
    """What the page says. Raises InputError for a formula that is not there, PlanError for what nobody can weigh."""
    from analysis.words.plans import plan_parts

    read = read_plan(worked.text)
    planned = preview_plan(worked.text, store, name=free_trial_name(store, read), seed=worked.seed, laid=worked.laid)
    takes = what_it_takes(store, read, [run.settings for run in planned.plan.runs])
    parts = plan_parts(planned.plan, planned.responses)
    advice = worked.proposal.advice if worked.proposal else None
    return PlanView(
        title=planned.title,
        name=planned.name,
        question=read.question,
        kind=planned.plan.design.kind,
        advised=_advised(advice),
        takes=_takes(planned, takes, advice),
        ingredients=tuple((name, say_weight(grams)) for name, grams in takes.ingredients),
        tells=parts["tells"],
        sure=_sure(advice, parts["sure"]),
        mixed=parts["mixed"],
        how=parts["how"],
        cautions=tuple(dict.fromkeys(_cautions(planned, takes, advice))),
        chemistry=tuple(
            Treatment(
                words=say_settings(each.settings, planned.plan.units),
                row=chemistry_row(each.chemistry),
                senseless=each.senseless,
            )
            for each in planned.treatments
        ),
        others=_others(advice),
        factors=tuple(factor.name for factor in read.factors),
        runs=_runs(planned, [factor.name for factor in read.factors]),
        block=planned.plan.design.block or "",
        repeats=planned.plan.design.replicates,
        repeatable=planned.plan.design.kind not in SEARCHED,
        has_formula=read.formula is not None or read.formula_name is not None,
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


def _advised(advice: Advice | None) -> tuple[str, ...]:
    if advice is None:
        return ()
    from analysis.words.advice import say_reason

    return tuple(say_reason(reason) for reason in advice.reasons)


def _sure(advice: Advice | None, lines: tuple[str, ...]) -> tuple[str, ...]:
    if advice is None:
        return lines
    return (*(f"{start(each.response)}: {say_seen(each)}." for each in advice.chosen.sureness), *lines)


def _takes(planned: PlannedTrial, takes: Takes, advice: Advice | None) -> Facts:
    design = planned.plan.design
    in_days = design.blocks if design.block == DAY else None
    days = advice.chosen.days if advice else in_days
    return say_size_facts(len(planned.plan.runs), days, takes.flour_g, takes.money)


def _cautions(planned: PlannedTrial, takes: Takes, advice: Advice | None) -> Iterator[str]:
    from analysis.words.advice import say_reason

    yield from planned.notes
    for caution in advice.cautions if advice else ():
        yield say_reason(caution)
    yield from planned.plan.warnings
    if takes.unpriced:
        yield say_unpriced(takes.unpriced)


def _others(advice: Advice | None) -> tuple[OtherDesign, ...]:
    if advice is None:
        return ()
    return tuple(
        OtherDesign(
            key=design_key(option),
            kind=option.request.kind,
            why=say_why(option),
            facts=compared(option, advice.chosen),
        )
        for option in advice.others
    )


def _runs(planned: PlannedTrial, names: list[str]) -> tuple[ShownRun, ...]:
    units = planned.plan.units
    return tuple(
        ShownRun(
            order=run.bake_order,
            code=run.code,
            block=run.block or "",
            settings=tuple(said_setting(run.settings[name], units.get(name, "")) for name in names),
        )
        for run in planned.plan.runs
    )
