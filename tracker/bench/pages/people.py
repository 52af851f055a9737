"""Who works in this kitchen, and what may they do?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData
from starlette.responses import JSONResponse, Response

from tracker.bench.kit import advice, form_of, keep, needs, page, status_of, store_of, text, wants_json
from tracker.bench.pages.signing import not_proven
from tracker.bench.remembered import remembered
from tracker.errors import InputError, TrackerError
from tracker.workflow.accounts import ROLES, AccountLine, change_pin, change_role, list_accounts, open_account
from tracker.workflow.ending import Ended
from tracker.workflow.kitchens import Store
from tracker.workflow.people import PersonLine, list_people

router = APIRouter()
Owner = Annotated[AccountLine, Depends(needs("owner"))]
Anybody = Annotated[AccountLine, Depends(needs("assessor"))]
Form = Annotated[FormData, Depends(form_of)]
LONGEST_NAME = 80

# What each role may do, in the words of the page.
MAY = {
    "assessor": "tastes and scores under blind codes",
    "baker": "bakes, records and undoes",
    "analyst": "plans trials and reads what came out",
    "owner": "all of it, and looks after people",
}


@router.get("/people")
def show(request: Request, who: Owner) -> Response:
    return _show(request)


@router.post("/people")
def change(request: Request, who: Owner, form: Form) -> Response:
    """One change; ``do`` says which."""
    deeds = {"add": _add, "role": _role, "pin": _pin}
    deed = deeds.get(text(form, "do"))
    if deed is None:
        raise InputError("The form does not say what to do.", where="people", try_this="load the page again")
    try:
        return keep(request, who, form, lambda store: deed(store, form, who.person), then=_then(form))
    except TrackerError as error:
        if status_of(error) not in (409, 422):
            raise
        if wants_json(request):
            return JSONResponse({"error": error.what, "next": advice(error)}, status_code=status_of(error))
        return _show(request, status=status_of(error), said=error.what, name=text(form, "name"))


@router.get("/my-pin")
def show_pin(request: Request, who: Anybody) -> Response:
    return page(request, "people/pin.html")


@router.post("/my-pin")
def own_pin(request: Request, who: Anybody, form: Form) -> Response:
    """Another PIN of one's own; whoever else is signed in under this name is signed out."""
    refused = not_proven(request, who, text(form, "old_pin"))
    if refused:
        return page(request, "people/pin.html", status=refused[0], said=refused[1])
    try:
        return keep(
            request, who, form, lambda store: change_pin(store, who.person, text(form, "pin"), by=who.person), then="/"
        )
    except TrackerError as error:
        if status_of(error) not in (409, 422):
            raise
        return page(request, "people/pin.html", status=status_of(error), said=error.what)


def _show(request: Request, *, status: int = 200, said: str | None = None, name: str = "") -> Response:
    store = store_of(request)
    accounts, people = remembered(request, "people", lambda: (list_accounts(store), list_people(store)))
    with_role = {account.person for account in accounts}
    others = [line for line in people if line.name and line.number not in with_role]
    return page(
        request,
        "people/people.html",
        status=status,
        accounts=accounts,
        others=others,
        roles=ROLES,
        may=MAY,
        said=said,
        closed=_closed(request, people),
        name=name,
    )


def _add(store: Store, form: FormData, by: int) -> None:
    """A new person, or somebody known by name, gets a role; both or neither stand."""
    name = text(form, "name")
    if len(name) > LONGEST_NAME:
        raise InputError(f"A name has at most {LONGEST_NAME} characters.", where="people", try_this="make it shorter")
    number = _number(form) or next((line.number for line in list_people(store) if line.name == name), None)
    role, pin = text(form, "role"), text(form, "pin")
    open_account(store, number, role, pin, by=by, name=name)


def _role(store: Store, form: FormData, by: int) -> Ended | None:
    return change_role(store, _number(form) or 0, text(form, "role"), reason=text(form, "reason"), by=by)


def _then(form: FormData) -> Callable[[Ended | None], str]:
    """Back to the page, which says what ended with an account."""

    def then(ended: Ended | None) -> str:
        return f"/people?closed={text(form, 'person')}&{urlencode(ended.to_json())}" if ended else "/people"

    return then


def _closed(request: Request, people: Sequence[PersonLine]) -> str:
    """The same read back from the address: whose account, and how much ended."""
    asked = {name: value for name, value in request.query_params.items() if value.isascii() and value.isdigit()}
    person = next((line for line in people if str(line.number) == asked.get("closed")), None)
    if person is None:
        return ""
    ended = Ended(**{name: int(asked.get(name, "0")[:6]) for name in ("sessions", "tablets", "cards")})
    return f"The account of {person.name or f'person {person.number}'} is closed. {ended.words()}"


def _pin(store: Store, form: FormData, by: int) -> None:
    change_pin(store, _number(form) or 0, text(form, "pin"), by=by)


def _number(form: FormData) -> int | None:
    typed = text(form, "person")
    if not typed:
        return None
    if not (typed.isascii() and typed.isdigit() and len(typed) < 10):
        raise InputError("The form was changed on its way.", where="people", try_this="load the page again")
    return int(typed)
