"""Who looks after the pages of a kitchen that nobody has looked after yet?"""

from __future__ import annotations

from tracker.errors import Conflict
from tracker.store import Store
from tracker.workflow.accounts import AccountLine, has_owner, hash_of, open_account
from tracker.workflow.people import add_person, list_people


def make_first_owner(store: Store, name: str, pin: str) -> AccountLine:
    """Person 1 gets this name, unless it is another's, and becomes the owner. Raises Conflict when there is one."""
    if has_owner(store):
        raise Conflict("This kitchen has an owner.", where="start", try_this="sign in")
    hash_of(pin, "owner")  # refuse the PIN before a name is written
    people = {line.number: line.name for line in list_people(store)}
    wanted = " ".join(name.split())
    number = next((each for each, its in people.items() if its is not None and its == wanted), None)
    if number is None:
        number = add_person(store, wanted, number=1 if people.get(1, "") is None else None, person=1).number
    return open_account(store, number, "owner", pin, by=number)
