"""What does an assessor see next, and how is what they say kept?

The next sample is the first of their own order that is not answered: there is no other way to it, and an answer that
stands is neither shown nor changed. Nothing here names a trial, a run, a setting or anybody else, in errors neither.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil

from sqlmodel import Session, col, select

from tracker.errors import NotFound
from tracker.intake.values import anchors_of
from tracker.models import Response, Tasting, TastingConsent, TastingSample, Trial
from tracker.store import Store, as_stamp
from tracker.workflow.lookup import key, state_of
from tracker.workflow.tastings import answers_to, find_tasting, is_open, samples_of


@dataclass(frozen=True, kw_only=True)
class Asked:
    """One thing to answer; ``number`` is its place on the page. ``words`` are the steps of a scale from 1."""

    number: int
    name: str
    unit: str
    scale: str
    words: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Next:
    """Where an assessor stands: ``code`` "" before consent, when all is tasted, or when the tasting is closed.

    ``rest_until`` is RFC 3339 in UTC while the tongue should rest, else "".
    """

    at: str
    open: bool
    agreed: bool
    allergens: str
    words: str
    samples: int
    done: int
    code: str
    asked: tuple[Asked, ...]
    rest_until: str
    rest_left_s: int

    @property
    def finished(self) -> bool:
        return self.done == self.samples


def open_seat(store: Store, person: int) -> int | None:
    """The newest open tasting of this person, one with samples left first; for somebody signed in by name."""
    with store.read() as session:
        mine = select(TastingSample.tasting_id).where(TastingSample.person_id == person).distinct()
        wanted = select(Tasting).where(col(Tasting.id).in_(mine)).order_by(col(Tasting.id).desc())
        seats = [row for row in session.exec(wanted) if is_open(session, row)]
        seats.sort(key=lambda row: stands(session, row, person).finished)
        return key(seats[0]) if seats else None


def next_sample(store: Store, number: int, person: int) -> Next:
    """What ``person`` does now. Raises NotFound for somebody who does not taste there."""
    now = store.now()
    with store.read() as session:
        tasting = find_tasting(session, number)
        now_at = stands(session, tasting, person)
        agreed = consent_of(session, tasting, person) is not None
        open_now = takes_answers(session, tasting)
        shown = now_at.next if open_now and agreed else None
        rests = _rest_until(tasting, now_at.last_at, now) if shown else None
        return Next(
            at=tasting.at,
            open=open_now,
            agreed=agreed,
            allergens=tasting.allergens,
            words=tasting.words,
            samples=now_at.samples,
            done=now_at.done,
            code=shown.code if shown else "",
            asked=_asked(session, tasting),
            rest_until=as_stamp(rests) if rests else "",
            rest_left_s=ceil((rests - now).total_seconds()) if rests else 0,
        )


@dataclass(frozen=True, kw_only=True)
class Stands:
    samples: int
    done: int
    next: TastingSample | None
    last_at: str

    @property
    def finished(self) -> bool:
        return self.next is None


def stands(session: Session, tasting: Tasting, person: int) -> Stands:
    samples = sorted(samples_of(session, tasting, person), key=lambda sample: sample.place)
    if not samples:
        raise NotFound("You do not taste here.", where="tasting", try_this="ask the host for a card")
    answered = answers_to(session, samples)
    left = [sample for sample in samples if sample.id not in answered]
    return Stands(
        samples=len(samples),
        done=len(samples) - len(left),
        next=left[0] if left else None,
        last_at=max((row.at for row in answered.values() if row.tasted), default=""),
    )


def _rest_until(tasting: Tasting, last_at: str, now: datetime) -> datetime | None:
    if not last_at or not tasting.rest_s:
        return None
    until = datetime.fromisoformat(last_at) + timedelta(seconds=tasting.rest_s)
    return until if until > now else None


def takes_answers(session: Session, tasting: Tasting) -> bool:
    """Open, and the trial it belongs to takes entries; which of the two is nothing for an assessor."""
    trial = session.get(Trial, tasting.trial_id)
    return is_open(session, tasting) and trial is not None and state_of(session, trial) != "closed"


def consent_of(session: Session, tasting: Tasting, person: int) -> TastingConsent | None:
    wanted = select(TastingConsent).where(TastingConsent.tasting_id == tasting.id, TastingConsent.person_id == person)
    return session.exec(wanted).first()


def responses_asked(session: Session, tasting: Tasting) -> list[Response]:
    """What is scored, in the order of the plan."""
    places = json.loads(tasting.responses)
    wanted = select(Response).where(Response.trial_id == tasting.trial_id, col(Response.position).in_(places))
    return list(session.exec(wanted.order_by(col(Response.position))))


def _asked(session: Session, tasting: Tasting) -> tuple[Asked, ...]:
    return tuple(
        Asked(number=number, name=row.name, unit=row.unit, scale=row.scale, words=anchors_of(row))
        for number, row in enumerate(responses_asked(session, tasting), start=1)
    )
