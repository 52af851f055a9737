"""Which blind tastings are there, who tastes what, and how far are they?

Nothing here tells a value: who serves sees who has tasted how many, and the codes beside the runs. Closing a tasting is
the one act that ends it; a closed one takes no more answers.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from analysis.designs.serving import Evenness, evenness
from tracker.current import rows_of
from tracker.errors import Conflict, InputError, NotFound
from tracker.models import (
    Bake,
    PersonDetails,
    Response,
    Run,
    Tasting,
    TastingAnswer,
    TastingSample,
    TastingState,
    Trial,
)
from tracker.store import Store
from tracker.workflow.lookup import find_trial, key


@dataclass(frozen=True, kw_only=True)
class Assessor:
    """Somebody who tastes: how many of their samples are answered. ``name`` is "assessor 7" without one."""

    person: int
    name: str
    done: int
    samples: int


@dataclass(frozen=True, kw_only=True)
class TastingLine:
    """One tasting in a list."""

    number: int
    trial: str
    title: str
    at: str
    open: bool
    assessors: int
    samples: int
    done: int
    asked: int


@dataclass(frozen=True, kw_only=True)
class TastingView:
    """One tasting for whoever looks after it.

    ``even``: how even the orders are, of everybody while it is open, then of those who tasted all; None of nobody.
    """

    line: TastingLine
    responses: tuple[str, ...]
    allergens: str
    words: str
    rest_s: int
    people: tuple[Assessor, ...]
    even: Evenness | None
    closed_at: str
    reason: str


@dataclass(frozen=True, kw_only=True)
class Served:
    """One cup or plate: whose it is, its place in their order, its code, and what is really on it."""

    person: int
    place: int
    code: str
    run: str
    bake_order: int
    settings: str


def find_tasting(session: Session, number: int) -> Tasting:
    """The tasting of this number. Raises NotFound."""
    found = session.get(Tasting, number) if 0 < number < 2**31 else None
    if found is None:
        raise NotFound("There is no such tasting.", where="tasting", try_this="one of the list")
    return found


def is_open(session: Session, tasting: Tasting) -> bool:
    """Whether it still takes answers."""
    return closed(session, tasting) is None


def closed(session: Session, tasting: Tasting) -> TastingState | None:
    """The row that closed it; None while it is open."""
    wanted = select(TastingState).where(TastingState.tasting_id == tasting.id, TastingState.state == "closed")
    return session.exec(wanted).first()


def samples_of(session: Session, tasting: Tasting, person: int | None = None) -> list[TastingSample]:
    """Samples by assessor and place; of one assessor only when ``person`` is given."""
    wanted = select(TastingSample).where(TastingSample.tasting_id == tasting.id)
    if person is not None:
        wanted = wanted.where(TastingSample.person_id == person)
    ordered = wanted.order_by(col(TastingSample.id))
    return list(session.exec(ordered))


def answers_to(session: Session, samples: Sequence[TastingSample]) -> dict[int, TastingAnswer]:
    """Sample number -> its answer."""
    rows = rows_of(session, TastingAnswer, TastingAnswer.sample_id, [sample.id for sample in samples])
    return {row.sample_id: row for row in rows}


def assessors_of(session: Session, tasting: Tasting) -> tuple[Assessor, ...]:
    """Everybody who tastes, in the order in which they were written down."""
    samples = samples_of(session, tasting)
    answered = answers_to(session, samples)
    people = list(dict.fromkeys(sample.person_id for sample in samples))
    known = session.exec(select(PersonDetails).where(col(PersonDetails.person_id).in_(people)))
    names = {row.person_id: row.name for row in known}
    listed = []
    for person in people:
        own = [sample for sample in samples if sample.person_id == person]
        done = sum(1 for sample in own if sample.id in answered)
        name = names.get(person, f"assessor {person}")
        listed.append(Assessor(person=person, name=name, done=done, samples=len(own)))
    return tuple(listed)


def list_tastings(store: Store, trial: str = "") -> tuple[TastingLine, ...]:
    """Every tasting (of one trial), the newest first."""
    with store.read() as session:
        wanted = select(Tasting).order_by(col(Tasting.id).desc())
        if trial:
            wanted = wanted.where(Tasting.trial_id == find_trial(session, trial).id)
        return tuple(_line(session, row) for row in session.exec(wanted))


def still_open(store: Store, trial: str, *, at: str | None = None) -> bool:
    """Whether some tasting of this trial still takes answers, or took them at the moment ``at`` (RFC 3339, UTC)."""
    with store.read() as session:
        tastings = session.exec(select(Tasting).where(Tasting.trial_id == find_trial(session, trial).id)).all()
        ends = [(row, closed(session, row)) for row in tastings]
    return any((at is None or row.at <= at) and (end is None or (at is not None and end.at > at)) for row, end in ends)


def tasting_view(store: Store, number: int) -> TastingView:
    """One tasting with everybody's progress. Raises NotFound."""
    with store.read() as session:
        found = find_tasting(session, number)
        known = session.exec(select(Response).where(Response.trial_id == found.trial_id))
        asked = {row.position: row.name for row in known}
        ended = closed(session, found)
        people = assessors_of(session, found)
        counted = [each.person for each in people if not ended or each.done == each.samples]
        return TastingView(
            line=_line(session, found),
            responses=tuple(asked[each] for each in json.loads(found.responses)),
            allergens=found.allergens,
            words=found.words,
            rest_s=found.rest_s,
            people=people,
            even=_even(samples_of(session, found), counted),
            closed_at=ended.at if ended else "",
            reason=ended.reason if ended else "",
        )


def serving_sheet(store: Store, number: int, *, person: int) -> tuple[Served, ...]:
    """Codes beside runs, by assessor and place. Raises NotFound, Conflict for somebody who tastes there."""
    from tracker.workflow.tasting_choices import said_settings

    with store.read() as session:
        found = find_tasting(session, number)
        samples = samples_of(session, found)
        if is_open(session, found) and any(sample.person_id == person for sample in samples):
            raise Conflict(
                "You taste here yourself: this sheet tells which sample is which.",
                where="serving sheet",
                try_this="let somebody else serve",
            )
        bakes = {row.id: row for row in rows_of(session, Bake, Bake.id, [sample.bake_id for sample in samples])}
        runs = {row.id: row for row in rows_of(session, Run, Run.id, [bake.run_id for bake in bakes.values()])}
        return tuple(
            Served(
                person=sample.person_id,
                place=sample.place,
                code=sample.code,
                run=run.code,
                bake_order=run.bake_order,
                settings=said_settings(session, run),
            )
            for sample in samples
            for run in (runs[bakes[sample.bake_id].run_id],)
        )


def close_tasting(store: Store, number: int, *, reason: str, by: int) -> None:
    """No more answers; from now on the identities may be seen. Needs a reason, which is kept.

    Raises NotFound, InputError without a reason, Conflict when it is closed.
    """
    from tracker.workflow.tasting_passes import forget_codes

    reason = reason.strip()
    if not reason:
        raise InputError(
            "Closing a tasting needs a reason.", where="tasting", try_this="everybody has tasted, or why it ends early"
        )
    with store.write(person=by, action="close tasting", reason=reason) as deed:
        found = find_tasting(deed.session, number)
        if not is_open(deed.session, found):
            raise Conflict("The tasting is closed.", where="tasting", try_this="look at its results")
        deed.add(TastingState(tasting_id=key(found), state="closed", reason=reason, person_id=by, at=deed.at))
        forget_codes(deed, key(found))


def _even(samples: Sequence[TastingSample], people: Sequence[int]) -> Evenness | None:
    numbers = {bake: at for at, bake in enumerate(sorted({sample.bake_id for sample in samples}))}
    orders = [[numbers[sample.bake_id] for sample in samples if sample.person_id == person] for person in people]
    return evenness(orders) if orders else None


def _line(session: Session, tasting: Tasting) -> TastingLine:
    trial = session.get(Trial, tasting.trial_id)
    assert trial is not None
    people = assessors_of(session, tasting)
    return TastingLine(
        number=key(tasting),
        trial=trial.name,
        title=trial.title,
        at=tasting.at,
        open=is_open(session, tasting),
        assessors=len(people),
        samples=max((each.samples for each in people), default=0),
        done=sum(each.done for each in people),
        asked=sum(each.samples for each in people),
    )
