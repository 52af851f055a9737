"""Who is behind the numbers, and how is a name forgotten?

Names and health answers stand in one table that can be erased; everything else, the audit
entries too, knows people by their number only.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlmodel import col, select

from tracker.errors import Conflict, InputError, NotFound
from tracker.models import Person, PersonDetails
from tracker.store import Store
from tracker.workflow.ending import Ended, end_all_of


@dataclass(frozen=True, kw_only=True)
class PersonLine:
    """``name`` is None when none was given or it was erased."""

    number: int
    name: str | None
    allergens: str = ""
    note: str = ""

    def words(self) -> str:
        more = "; ".join(part for part in (self.allergens and f"allergens: {self.allergens}", self.note) if part)
        return f"{self.number}  {self.name or '(no name)'}" + (f"  ({more})" if more else "")

    def to_json(self) -> dict[str, Any]:
        return {"person": self.number, "name": self.name, "allergens": self.allergens, "note": self.note}


@dataclass(frozen=True, kw_only=True)
class ErasedPerson(PersonLine):
    """``ended``: what they could come in by, which went with the name."""

    ended: Ended

    def words(self) -> str:
        return f"Person {self.number} has no name any more. {self.ended.words()} Backups made before still hold it."

    def to_json(self) -> dict[str, Any]:
        return {**super().to_json(), "erased": True, "ended": self.ended.to_json()}


def list_people(store: Store) -> tuple[PersonLine, ...]:
    """Everybody, by number."""
    with store.read() as session:
        numbers = session.exec(select(Person.id).order_by(col(Person.id))).all()
        details = {row.person_id: row for row in session.exec(select(PersonDetails))}
    return tuple(_line(number or 0, details.get(number or 0)) for number in numbers)


def _line(number: int, details: PersonDetails | None) -> PersonLine:
    if details is None:
        return PersonLine(number=number, name=None)
    return PersonLine(number=number, name=details.name, allergens=details.allergens, note=details.note)


def add_person(
    store: Store, name: str, *, allergens: str = "", note: str = "", number: int | None = None, person: int = 1
) -> PersonLine:
    """A new person, or a name for the nameless person ``number``.

    Raises InputError for an empty name, Conflict when the name or the number is taken,
    NotFound for an unknown number.
    """
    name = " ".join(name.split())
    if not name:
        raise InputError("A person needs a name.", where="people add", try_this='crumbwise records people add "Ada"')
    with store.write(person=person, action="add person" if number is None else "name person") as deed:
        if deed.session.exec(select(PersonDetails).where(PersonDetails.name == name)).first() is not None:
            raise Conflict("Somebody of that name is here.", where="people add", try_this="add an initial")
        if number is None:
            number = deed.add(Person(made_at=deed.at)).id or 0
        elif deed.session.get(Person, number) is None:
            raise NotFound(
                f"There is no person {number}.", where="people add", try_this="crumbwise records people list"
            )
        elif deed.session.get(PersonDetails, number) is not None:
            raise Conflict(f"Person {number} has a name.", where="people add", try_this="erase it first")
        details = deed.add(PersonDetails(person_id=number, name=name, allergens=allergens.strip(), note=note.strip()))
    return _line(number, details)


def erase_person(store: Store, number: int, *, reason: str, person: int = 1) -> ErasedPerson:
    """Forget a person's name and health answers; what the number recorded stays. Needs a reason.

    The reason stays in the record for ever: it must not hold the name. Raises NotFound when there
    is nothing to erase, InputError without a reason or with the name in it.
    """
    if not reason.strip():
        raise InputError("An erasure needs a reason.", where="people erase", try_this='--reason "asked for it"')
    with store.write(person=person, action="erase person", reason=reason.strip()) as deed:
        details = deed.session.get(PersonDetails, number)
        if details is not None and details.name.casefold() in reason.casefold():
            raise InputError(
                "The reason holds the name that is to be forgotten, and reasons are kept.",
                where="people erase",
                try_this='--reason "asked for it"',
            )
        deed.erase_person(number)
        ended = end_all_of(deed, number)
    return ErasedPerson(number=number, name=None, ended=ended)
