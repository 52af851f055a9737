"""What does somebody who tastes see?

A code leads in; then one sample at a time under its blind code, in an order of their own. The address is always the
same, so that going back, loading again or an old address shows the next sample and never an answer. Nothing of the
trial stands here: not its name, its settings, or which bake is which.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData
from starlette.responses import JSONResponse, RedirectResponse, Response

from tracker.bench.failing import OURS
from tracker.bench.kit import (
    PERSON,
    advice,
    form_of,
    keep,
    needs,
    page,
    settings_of,
    signed_in,
    status_of,
    store_of,
    text,
    typed,
    wants_json,
)
from tracker.bench.pages.run import TAGS
from tracker.errors import Conflict, InputError
from tracker.workflow.accounts import AccountLine
from tracker.workflow.signed_in import end
from tracker.workflow.tasting_answers import AGREED, CONSENT, EATS, Said, agree, answer
from tracker.workflow.tasting_passes import LASTS, begin_tasting, end_tasting, taster_at
from tracker.workflow.tasting_samples import next_sample, open_seat

router = APIRouter()
Taster = Annotated[AccountLine, Depends(needs("taster"))]
Form = Annotated[FormData, Depends(form_of)]
KEPT = "kept:"
VALUE = "v"  # v1, v2 …: what was said of the first, second … thing asked
WRONG = "This code opens nothing. Look at the card again, or ask the host for a new one."
ENDED = {
    "declined": "Thank you for saying so. Please do not taste, and tell the host. Nothing about you was kept.",
    "stopped": "You stopped. Thank you for tasting. With your code you can go on later today.",
    "finished": "Thank you for tasting. The tablet is ready for the next one.",
}


@router.get("/taste")
def show(request: Request, code: str = "", ended: str = "", ready: str = "") -> Response:
    """The next thing for whoever stands here; without a tasting the page asks for a code."""
    number = _seat(request)
    if number is None or code:
        return ask_code(request, code=code[:20], notice=ENDED.get(ended, ""))
    return _show(request, number, ready=bool(ready))


@router.post("/taste/code")
def come_in(request: Request, form: Form) -> Response:
    """A code begins a session that opens one tasting and nothing else."""
    store, typed_code = store_of(request), text(form, "code")
    kept = _ours([(name.removeprefix(KEPT), value) for name, value in typed(form) if name.startswith(KEPT)])
    address = request.client.host if request.client else ""
    tried, delays = f"codes of tastings from {address}", request.app.state.delays
    wait = delays.take(tried, address)
    if wait:
        said = f"Too many wrong codes. The next try is taken in {wait} s."
        answered = ask_code(request, kept=kept, status=429, said=said)
        answered.headers["retry-after"] = str(wait)
        return answered
    token = begin_tasting(store, typed_code)
    if token is None:
        return ask_code(request, kept=kept, status=401, said=WRONG)
    delays.right(tried, address)
    who, by = taster_at(store, token), dict(kept).get("by", "")
    if who is None or (by and by != str(who.person)):  # it would be kept as the answer of another
        end_tasting(store, token)
        said = "What stands here was answered by somebody else, who alone can send it."
        return ask_code(request, kept=kept, status=409, said=said)
    return _let_in(request, token, who, kept)


@router.post("/taste")
def enter(request: Request, who: Taster, form: Form) -> Response:
    """One step; ``do`` says which."""
    do, number = text(form, "do"), _meant(who, text(form, "tasting"), _seat(request))
    if do in ENDED:
        return _leave(request, do)
    if number is None:
        raise Conflict("There is nothing for you to taste now.", where="tasting", try_this="ask the host for a card")
    try:
        if do == "agree":
            agrees, eats = bool(text(form, "agrees")), bool(text(form, "eats"))
            return keep(
                request,
                who,
                form,
                lambda store: agree(store, number, who.person, agrees=agrees, eats_all=eats),
                then="/taste",
            )
        if do in ("answer", "leave"):
            said = _said(form, tasted=do == "answer")
            place = text(form, "place")[:20]
            return keep(request, who, form, lambda store: answer(store, number, who.person, place, said), then="/taste")
    except OURS as error:
        status = status_of(error)
        if status not in (404, 409, 422):
            raise
        what, next_step = getattr(error, "what", ""), advice(error)  # type: ignore[arg-type]
        if wants_json(request):
            return JSONResponse({"error": what, "next": next_step}, status_code=status)
        return _show(request, number, ready=True, status=status, said=(what, next_step), typed_in=form)
    raise InputError("The form does not say what to do.", where="this page", try_this="load the page again")


def ask_code(
    request: Request,
    *,
    code: str = "",
    notice: str = "",
    kept: Sequence[tuple[str, str]] = (),
    status: int = 200,
    said: str = "",
) -> Response:
    """The page that asks for a code; ``kept`` is what was typed when the session had ended."""
    return page(
        request,
        "taste/code.html",
        status=status,
        code=code,
        notice=notice,
        kept=[(KEPT + name, value) for name, value in _ours(kept)],
        said=said,
    )


def _ours(kept: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Fields that one of our own forms could have had."""
    return [pair for pair in kept if re.fullmatch(r"[a-z]{1,12}[0-9]{0,2}", pair[0])]


def _seat(request: Request) -> int | None:
    """The tasting that the code opened, or the one that waits for somebody signed in as an assessor by name."""
    who = signed_in(request)
    if who is None or who.may("baker"):
        return None
    return who.tasting if who.tasting is not None else open_seat(store_of(request), who.person)


def _meant(who: AccountLine, typed_for: str, seat: int | None) -> int | None:
    """The tasting of the page that was filled in: the next one may have begun since, with the same code in it."""
    if who.tasting is None and typed_for.isascii() and typed_for.isdigit() and len(typed_for) < 10:
        return int(typed_for)  # whether they taste there is asked when it is kept
    if typed_for not in ("", str(seat)):
        raise Conflict("This page is of another tasting.", where="tasting", try_this="load the page again")
    return seat


def _show(
    request: Request,
    number: int,
    *,
    ready: bool = False,
    status: int = 200,
    said: tuple[str, str] | None = None,
    typed_in: FormData | None = None,
) -> Response:
    who = signed_in(request)
    assert who is not None
    now = next_sample(store_of(request), number, who.person)
    # What was typed belongs to the sample it was typed for, and to no other.
    mine = typed_in is not None and text(typed_in, "place") == now.code
    return page(
        request,
        "taste/taste.html",
        status=status,
        now=now,
        tasting=number,
        rests=bool(now.rest_until) and not ready,
        consent=CONSENT,
        agreed=AGREED,
        eats=EATS,
        tags=TAGS,
        refused=said,
        typed_in=dict(typed_in.multi_items()) if mine and typed_in is not None else {},
        ticked=[str(tag) for tag in typed_in.getlist("tag")] if mine and typed_in is not None else [],
    )


def _said(form: FormData, *, tasted: bool) -> Said:
    values = {
        int(name.removeprefix(VALUE)): value
        for name, value in typed(form)
        if name.startswith(VALUE) and name[1:].isascii() and name[1:].isdigit() and len(name) < 4
    }
    tags = [str(tag) for tag in form.getlist("tag") if isinstance(tag, str)]
    return Said(values=values, words=text(form, "words"), tags=tags[:40], tasted=tasted)


def _let_in(request: Request, token: str, who: AccountLine, kept: list[tuple[str, str]]) -> Response:
    store, settings = store_of(request), settings_of(request)
    for finish in (end, end_tasting):  # whoever stood here before is signed out
        finish(store, request.cookies.get(PERSON, ""))
    request.state.who = who
    if kept:
        left = [pair for pair in kept if pair[0] != "path"]
        answered: Response = page(request, "again.html", kept=left, again="/taste")
    else:
        answered = RedirectResponse("/taste", status_code=303)
    # No secret of a tablet: a code does not make a guest's phone one that is told the names of the kitchen.
    answered.set_cookie(
        PERSON,
        token,
        max_age=int(LASTS.total_seconds()),
        path="/",
        secure=settings.tls,
        httponly=True,
        samesite="strict",
    )
    return answered


def _leave(request: Request, how: str) -> Response:
    for finish in (end, end_tasting):
        finish(store_of(request), request.cookies.get(PERSON, ""))
    answered = RedirectResponse(f"/taste?ended={how}", status_code=303)
    answered.delete_cookie(PERSON, path="/")
    return answered
