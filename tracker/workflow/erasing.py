"""What goes when a photo is erased, and what stays?

Its bytes go: a face in it, or the wrong thing photographed, is nobody's record. That there was a photo, its
hash and its words stay, with who had it erased, when and why.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from sqlmodel import Session, col, select

from tracker.errors import Conflict, InputError, NotFound
from tracker.models import Bake, PersonDetails, Photo, PhotoContent, PhotoErasure, Run, Trial
from tracker.store import Store
from tracker.workflow.lookup import key

__all__ = ["LONGEST_REASON", "Erased", "ErasedPhoto", "erase_photo", "erasures_of", "run_of_photo"]

LONGEST_REASON = 400
LARGEST_NUMBER = 2**31 - 1  # that a database takes


@dataclass(frozen=True, kw_only=True)
class Erased:
    """``at`` RFC 3339 in UTC."""

    who: str
    at: str
    why: str

    def words(self) -> str:
        """ "erased by Dora on 2026-11-26: a face was in it"."""
        return f"erased by {self.who} on {self.at[:10]}: {self.why}"


@dataclass(frozen=True, kw_only=True)
class ErasedPhoto:
    """A photo whose bytes are gone."""

    number: int
    trial: str
    run: str
    sha256: str
    bytes: int

    def summary(self) -> str:
        return (
            f"Photo {self.number} of run {self.run} of {self.trial} is erased ({self.bytes} bytes). "
            "That there was one and its hash stay. Backups and bundles made before still hold it, "
            "and a tablet that showed it may for 16 hours."
        )

    def to_json(self) -> dict[str, Any]:
        return {**asdict(self), "erased": True}


def run_of_photo(store: Store, number: int) -> tuple[str, str]:
    """The trial and the run's code of a photo. Raises NotFound."""
    with store.read() as session:
        return _place_of(session, _find(session, number))


def erase_photo(store: Store, number: int, *, reason: str, person: int) -> ErasedPhoto:
    """Remove the bytes of a photo, also of one that was taken back and also when its trial is closed.

    Raises InputError without a reason, NotFound without such a photo, Conflict when it was erased before.
    """
    reason = reason.strip()
    if not 1 <= len(reason) <= LONGEST_REASON:
        raise InputError(
            f"An erasure needs a reason of at most {LONGEST_REASON} signs.", where="photo", try_this="a face was in it"
        )
    with store.write(person=person, action="erase photo", reason=reason) as deed:
        row = _find(deed.session, number)
        content = deed.session.exec(select(PhotoContent).where(PhotoContent.photo_id == row.id)).first()
        if content is None:
            told = erasures_of(deed.session, [key(row)]).get(key(row))
            raise Conflict(
                f"Photo {number} is {told.words() if told else 'not here: it came without its picture'}.",
                where="photo",
                try_this="nothing is left to erase",
            )
        trial, run = _place_of(deed.session, row)
        deed.add(PhotoErasure(photo_id=key(row), reason=reason, person_id=person, at=deed.at))
        deed.erase_photo(content)
    return ErasedPhoto(number=key(row), trial=trial, run=run, sha256=row.sha256, bytes=len(content.content))


def erasures_of(session: Session, numbers: Sequence[int]) -> Mapping[int, Erased]:
    """Number of the photo -> how it was erased; photos that were not are missing."""
    rows = session.exec(select(PhotoErasure).where(col(PhotoErasure.photo_id).in_(numbers))).all()
    people = {row.person_id for row in rows}
    found = session.exec(select(PersonDetails).where(col(PersonDetails.person_id).in_(people))).all()
    names = {row.person_id: row.name for row in found}
    return {
        row.photo_id: Erased(who=names.get(row.person_id, f"person {row.person_id}"), at=row.at, why=row.reason)
        for row in rows
    }


def _find(session: Session, number: int) -> Photo:
    row = session.get(Photo, min(number, LARGEST_NUMBER))
    if row is None or row.void:
        raise NotFound("There is no such photo.", where="photo", try_this="its number stands in its history")
    return row


def _place_of(session: Session, row: Photo) -> tuple[str, str]:
    bake = session.get(Bake, row.bake_id)
    run = session.get(Run, bake.run_id) if bake is not None else None
    trial = session.get(Trial, run.trial_id) if run is not None else None
    assert run is not None
    assert trial is not None
    return trial.name, run.code
