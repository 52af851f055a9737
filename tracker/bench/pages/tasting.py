"""How is a blind tasting set up, served, watched and closed?

For whoever serves, never for who tastes: codes stand beside runs here. What is on the cards is shown once.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from tracker.bench.failing import OURS
from tracker.bench.kit import (
    advice,
    clock,
    form_of,
    keep,
    needs,
    once,
    page,
    settings_of,
    status_of,
    store_of,
    text,
    zone_of,
)
from tracker.errors import InputError
from tracker.workflow.accounts import AccountLine
from tracker.workflow.allergens import CAUTION
from tracker.workflow.kitchens import Store
from tracker.workflow.tasting_choices import choices, trials_to_taste
from tracker.workflow.tasting_passes import make_cards, square_of
from tracker.workflow.tasting_setup import WORDS, SetUp, WhoTastes, add_assessors, set_up_tasting
from tracker.workflow.tastings import close_tasting, list_tastings, serving_sheet, tasting_view

router = APIRouter()
Baker = Annotated[AccountLine, Depends(needs("baker"))]
Form = Annotated[FormData, Depends(form_of)]
LOCAL = ("127.0.0.1", "localhost", "[::1]")
WHERE = "tasting"


@router.get("/tasting")
def show_all(request: Request, who: Baker) -> Response:
    store = store_of(request)
    return page(request, "tasting/tastings.html", tastings=list_tastings(store), trials=trials_to_taste(store))


@router.get("/tasting/new")
def show_new(request: Request, who: Baker, trial: str = "") -> Response:
    return _new(request, trial)


@router.post("/tasting/new")
def set_up(request: Request, who: Baker, form: Form) -> Response:
    """All of it in one form; refused, it comes back with what was typed."""
    trial = text(form, "trial")

    def deed(store: Store) -> SetUp:
        return set_up_tasting(
            store,
            trial,
            runs=[str(each) for each in form.getlist("run")],
            responses=[_whole(str(each)) for each in form.getlist("response")],
            who=_who(form),
            allergens=text(form, "allergens"),
            words=text(form, "words"),
            rest_s=_whole(text(form, "rest") or "0"),
            by=who.person,
        )

    def then(made: SetUp | None) -> str:
        return f"/tasting/{made.number}" if made else "/tasting"

    try:
        return keep(request, who, form, deed, then=then)
    except OURS as error:
        if status_of(error) not in (409, 422):
            raise
        what = getattr(error, "what", "")
        return _new(request, trial, status=status_of(error), said=(what, advice(error)), form=form)  # type: ignore[arg-type]


@router.get("/tasting/{number}")
def show_one(request: Request, who: Baker, number: int) -> Response:
    return _one(request, number)


@router.post("/tasting/{number}")
def change(request: Request, who: Baker, form: Form, number: int) -> Response:
    """More assessors, or the end; ``do`` says which."""
    do = text(form, "do")

    def deed(store: Store) -> None:
        if do == "close":
            close_tasting(store, number, reason=text(form, "reason"), by=who.person)
        elif do == "assessors":
            add_assessors(store, number, _who(form), by=who.person)
        else:
            raise InputError("The form does not say what to do.", where=WHERE, try_this="load the page again")

    try:
        return keep(
            request, who, form, deed, then=f"/tasting/{number}/serving" if do == "close" else f"/tasting/{number}"
        )
    except OURS as error:
        if status_of(error) not in (409, 422):
            raise
        said = (getattr(error, "what", ""), advice(error))  # type: ignore[arg-type]
        return _one(request, number, status=status_of(error), said=said)


@router.get("/tasting/{number}/cards")
def back_to_one(request: Request, who: Baker, number: int) -> Response:
    """Codes are shown once, in answer to the form that makes them."""
    return RedirectResponse(f"/tasting/{number}", status_code=303)


@router.post("/tasting/{number}/cards")
def cards(request: Request, who: Baker, form: Form, number: int) -> Response:
    """New codes, on cards to print. Sent twice, the second answer cannot show them again."""
    person = _whole(text(form, "person")) if text(form, "person") else None
    kept = once(request, who, form, lambda store: make_cards(store, number, by=who.person, person=person))
    address = _address(request)
    made = kept.result or ()
    return page(
        request,
        "tasting/cards.html",
        number=number,
        address=address,
        only_here=any(name in address for name in LOCAL),
        cards=[(each, square_of(f"{address}?code={each.code}")) for each in made],
        again=clock(kept.at, zone_of(request)) if kept.again else "",
    )


@router.get("/tasting/{number}/serving")
def serving(request: Request, who: Baker, number: int) -> Response:
    """Which code is which: for the hands that serve, and for all once it is closed."""
    store = store_of(request)
    rows = serving_sheet(store, number, person=who.person)
    view = tasting_view(store, number)
    sheets = [(each, [row for row in rows if row.person == each.person]) for each in view.people]
    return page(request, "tasting/serving.html", view=view, sheets=sheets)


def _one(request: Request, number: int, *, status: int = 200, said: tuple[str, str] | None = None) -> Response:
    view = tasting_view(store_of(request), number)
    people = choices(store_of(request), view.line.trial).people
    here = {each.person for each in view.people}
    others = tuple(each for each in people if each[0] not in here)
    return page(request, "tasting/one.html", status=status, view=view, others=others, refused=said)


def _new(
    request: Request,
    trial: str,
    *,
    status: int = 200,
    said: tuple[str, str] | None = None,
    form: FormData | None = None,
) -> Response:
    found = choices(store_of(request), trial)
    return page(
        request,
        "tasting/new.html",
        status=status,
        found=found,
        words=WORDS,
        caution=CAUTION,
        refused=said,
        typed_in=None if form is None else dict(form.multi_items()),
        ticked=None if form is None else {name: form.getlist(name) for name in ("run", "response", "person")},
    )


def _who(form: FormData) -> WhoTastes:
    return WhoTastes(
        people=[_whole(str(each)) for each in form.getlist("person")],
        names=[line.strip() for line in text(form, "names").splitlines() if line.strip()],
        nameless=_whole(text(form, "nameless") or "0"),
    )


def _whole(said: str) -> int:
    if not (said.isascii() and said.isdigit() and len(said) < 10):
        raise InputError(f'"{said[:40]}" is no whole number.', where=WHERE, try_this="a number such as 3")
    return int(said)


def _address(request: Request) -> str:
    """Where a tablet types the code: as this page was asked for, or by a name that others can reach."""
    settings, host = settings_of(request), request.headers.get("host", "")
    if host.rpartition(":")[0] in LOCAL:
        host = next((each for each in settings.hosts if each.rpartition(":")[0] not in LOCAL), host)
    return f"{settings.scheme}://{host}/taste"
