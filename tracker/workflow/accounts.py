"""Who may do what at the bench, and how does a person prove who they are?

A role is part of the record: each change is a new row with its reason. The PIN is kept as an
argon2id hash beside the record, where it can be changed and removed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Select, bindparam, exists, insert, update
from sqlalchemy import select as sql_select
from sqlmodel import Session, select

from tracker.bench_tables import Account, secrets
from tracker.current import standing
from tracker.deeds import Deed
from tracker.errors import Conflict, InputError, NotFound
from tracker.models import Person, PersonDetails
from tracker.prepared import Prepared
from tracker.store import Store
from tracker.workflow.ending import Ended, end_all_of, end_sessions
from tracker.workflow.lookup import key
from tracker.workflow.people import PersonLine, list_people

if TYPE_CHECKING:
    from pwdlib import PasswordHash

ROLES = ("assessor", "baker", "analyst", "owner")
TASTER = "taster"  # no role of a person: what a code for one tasting opens
LADDER = (TASTER, *ROLES)
SHORTEST = {"assessor": 4, "baker": 4, "analyst": 6, "owner": 6}
LONGEST = 64
# Tried first by everybody who guesses (common practice, no source).
EASY = frozenset(
    {"1234", "12345", "123456", "1234567", "12345678", "4321", "54321", "654321", "0123", "1122", "1212", "1313"}
    | {"2580", "6969", "112233", "121212", "123123", "123321", "password", "qwerty", "abc123"}
)


def _account_of_one() -> Select[Any]:
    """The row of a person that nothing replaces, with their name; asked by every request."""
    rows, names = Account.__table__, PersonDetails.__table__  # type: ignore[attr-defined]
    later = rows.alias()
    return (
        sql_select(rows.c.role, names.c.name)
        .select_from(rows.outerjoin(names, names.c.person_id == rows.c.person_id))
        .where(rows.c.person_id == bindparam("person"), ~exists().where(later.c.replaces_id == rows.c.id))
        .order_by(rows.c.id.desc())
        .limit(1)
    )


_ACCOUNT = Prepared(_account_of_one())


@dataclass(frozen=True, kw_only=True)
class AccountLine:
    """A person at the bench; ``role`` "" when they have none. ``tasting`` is the one a code opened, and only that."""

    person: int
    name: str
    role: str
    tasting: int | None = None

    def may(self, role: str) -> bool:
        """Does this account reach ``role``? Each role may do what the one before it may."""
        return self.role in LADDER and LADDER.index(self.role) >= LADDER.index(role)


def list_accounts(store: Store) -> tuple[AccountLine, ...]:
    """Everybody with a role, by number."""
    people = {line.number: line for line in list_people(store)}
    with store.read() as session:
        roles = _roles(session)
    return tuple(_line(people[number], role) for number, role in sorted(roles.items()) if role != "none")


def account_of(store: Store, person: int) -> AccountLine | None:
    """The account of one person; None without a role."""
    with store.ask() as connection:
        return account_in(connection, person)


def account_in(connection: Connection, person: int) -> AccountLine | None:
    """The same within a transaction that asks other things too."""
    found = _ACCOUNT.first(connection, person=person)
    if found is None or found.role == "none":
        return None
    return AccountLine(person=person, name=found.name or f"person {person}", role=found.role)


def has_owner(store: Store) -> bool:
    """Can anybody look after the kitchen's pages? An owner who was erased has no PIN left: another may begin."""
    with store.read() as session:
        owners = [person for person, role in _roles(session).items() if role == "owner"]
        kept = select(secrets.c.person_id).where(secrets.c.person_id.in_(owners))
        return session.connection().execute(kept).first() is not None


def named(store: Store, name: str) -> AccountLine | None:
    """The account behind a typed name; case and spaces do not matter."""
    wanted = " ".join(name.split()).casefold()
    return next((line for line in list_accounts(store) if line.name.casefold() == wanted), None)


def open_account(store: Store, person: int | None, role: str, pin: str, *, by: int, name: str = "") -> AccountLine:
    """Give a person a role and a PIN; without a number a new person of that ``name`` is written with it.

    Raises InputError, NotFound, Conflict when they have a role or another has the name.
    """
    _check_role(role)
    hashed = hash_of(pin, role)
    with store.write(person=by, action="open account") as deed:
        number = _new_person(deed, name) if person is None else person
        if deed.session.get(Person, number) is None:
            raise NotFound("There is no such person.", where="people", try_this="add the person first")
        before = _current(deed.session, number)
        if before is not None and before.role != "none":
            raise Conflict("This person has a role already.", where="people", try_this="change it instead")
        _add(deed, number, role, before, reason="opened again" if before else "")
        _keep(deed, number, hashed)
        details = deed.session.get(PersonDetails, number)
    return AccountLine(person=number, name=details.name if details else f"person {number}", role=role)


def _new_person(deed: Deed, name: str) -> int:
    name = " ".join(name.split())
    if not name:
        raise InputError("A person needs a name.", where="people", try_this="the name others call them by")
    if deed.session.exec(select(PersonDetails).where(PersonDetails.name == name)).first() is not None:
        raise Conflict("Somebody of that name is here.", where="people", try_this="add an initial")
    number = key(deed.add(Person(made_at=deed.at)))
    deed.add(PersonDetails(person_id=number, name=name))
    return number


def change_role(store: Store, person: int, role: str, *, reason: str, by: int) -> Ended | None:
    """Another role; "none" closes the account, and what ended with it is returned. Needs a reason; one owner stays."""
    if role != "none":
        _check_role(role)
    if not reason.strip():
        raise InputError("A change of role needs a reason.", where="people", try_this="say why in a few words")
    with store.write(person=by, action="change role", reason=reason.strip()) as deed:
        before = _current(deed.session, person)
        if before is None:
            raise NotFound("This person has no role yet.", where="people", try_this="give one first")
        owners = [who for who, its in _roles(deed.session).items() if its == "owner"]
        if role != "owner" and owners == [person]:
            raise Conflict("One owner has to stay.", where="people", try_this="make somebody else an owner first")
        _add(deed, person, role, before, reason=reason.strip())
        if role == "none":
            return end_all_of(deed, person)
        end_sessions(deed, person)
    return None


def change_pin(store: Store, person: int, pin: str, *, by: int) -> None:
    """Another PIN; whoever is signed in as this person is signed out."""
    account = account_of(store, person)
    if account is None:
        raise NotFound("This person has no role yet.", where="people", try_this="give one first")
    hashed = hash_of(pin, account.role)
    with store.write(person=by, action="change pin") as deed:
        _keep(deed, person, hashed)
        end_sessions(deed, person)


def pin_is_right(store: Store, person: int | None, pin: str) -> bool:
    """Compare a PIN; somebody unknown takes just as long to refuse."""
    kept = None
    if person is not None:
        with store.read() as session:
            wanted = select(secrets.c.pin_hash).where(secrets.c.person_id == person)
            kept = session.connection().execute(wanted).scalar_one_or_none()
    right = _hasher().verify(pin[:LONGEST], kept or _nobodys())
    return right and kept is not None


def hash_of(pin: str, role: str) -> str:
    """The hash of a PIN that is long enough for the role. Raises InputError."""
    least = SHORTEST[role]
    if not least <= len(pin) <= LONGEST:
        raise InputError(
            f"The PIN of this role has {least} to {LONGEST} digits or letters.",
            where="PIN",
            try_this="a number or some words",
        )
    if pin.casefold() in EASY or len(set(pin)) == 1:
        raise InputError("This PIN is one of the first that are guessed.", where="PIN", try_this="another one")
    hashed: str = _hasher().hash(pin)
    return hashed


@cache
def _hasher() -> PasswordHash:
    from pwdlib import PasswordHash
    from pwdlib.hashers.argon2 import Argon2Hasher

    # Above the least that OWASP's ASVS 5.0, appendix C, names for argon2id (t=2, m=19 MiB, p=1); a tablet's cook waits
    # for it, and several tablets at once must not fill the memory.
    return PasswordHash((Argon2Hasher(time_cost=3, memory_cost=32 * 1024, parallelism=1),))


@cache
def _nobodys() -> str:
    hashed: str = _hasher().hash("nobody")
    return hashed


def _check_role(role: str) -> None:
    if role not in ROLES:
        raise InputError(f'"{role}" is no role.', where="people", try_this=", ".join(ROLES))


def _roles(session: Session, person: int | None = None) -> dict[int, str]:
    wanted = select(Account)
    if person is not None:
        wanted = wanted.where(Account.person_id == person)
    return {row.person_id: row.role for row in standing(session.exec(wanted.order_by(Account.id)))}  # type: ignore[arg-type]


def _current(session: Session, person: int) -> Account | None:
    rows = standing(session.exec(select(Account).where(Account.person_id == person)))
    return rows[-1] if rows else None


def _add(deed: Deed, person: int, role: str, before: Account | None, *, reason: str) -> None:
    deed.add(
        Account(person_id=person, role=role, at=deed.at, replaces_id=key(before) if before else None, reason=reason)
    )


def _keep(deed: Deed, person: int, hashed: str) -> None:
    connection = deed.session.connection()
    values: dict[str, Any] = {"pin_hash": hashed, "changed_at": deed.at}
    changed = connection.execute(update(secrets).where(secrets.c.person_id == person).values(**values))
    if not changed.rowcount:
        connection.execute(insert(secrets).values(person_id=person, **values))


def _line(person: PersonLine, role: str) -> AccountLine:
    return AccountLine(person=person.number, name=person.name or f"person {person.number}", role=role)
