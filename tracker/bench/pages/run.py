"""What happens to one run at the bench?

The code on the printed sheet leads here. Each value is an entry of its own with its own key,
so that what was saved is never held up by what was not.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from math import isfinite, nan
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.responses import JSONResponse, RedirectResponse, Response

from tracker.bench.entering import EntryRoute, NeedsInside, keep_soon
from tracker.bench.kit import (
    advice,
    clock,
    form_of,
    needs,
    page,
    status_of,
    store_of,
    text,
    wants_json,
    zone_of,
)
from tracker.bench.remembered import remembered
from tracker.errors import Conflict, InputError, TrackerError
from tracker.intake.numbers import read_number
from tracker.workflow.accounts import AccountLine
from tracker.workflow.asked_weights import FAR_OFF
from tracker.workflow.bake_moments import mark_moment
from tracker.workflow.kitchens import Store
from tracker.workflow.photos import LARGEST_BYTES
from tracker.workflow.readings import KEPT_WITH_A_REASON
from tracker.workflow.recording import add_note, record_run
from tracker.workflow.run_entries import undo_entry
from tracker.workflow.run_view import RunView, run_view, trial_of_code

router = APIRouter()
Baker = Annotated[AccountLine, Depends(needs("baker"))]
BakerInside = Annotated[NeedsInside, Depends(NeedsInside("baker"))]
Form = Annotated[FormData, Depends(form_of)]

# Words a baker tastes with; common practice, no source.
TAGS = ("buttery", "sweet", "salty", "sour", "soapy", "bitter", "metallic", "flat", "dry", "gummy", "crumbly", "tender")
MOST_SIGNS = 4_000


@dataclass(frozen=True, kw_only=True)
class Refused:
    """What was not saved, where on the page, and what was typed."""

    place: str
    what: str
    next_step: str
    typed: str
    asks_reason: bool
    stands: bool


@router.get("/run")
def find(request: Request, who: Baker, code: str = "") -> Response:
    """A code typed by hand."""
    found = trial_of_code(store_of(request), code.strip()) if code.strip() else []
    if len(found) == 1:
        return RedirectResponse(address_of(found[0][0], code.strip()), status_code=303)
    return page(
        request,
        "run/find.html",
        status=404 if code.strip() and not found else 200,
        code=code.strip(),
        found=[(name, order, address_of(name, code.strip())) for name, order in found],
    )


@router.get("/run/{trial:path}/{code}")
def show(request: Request, who: Baker, trial: str, code: str) -> Response:
    return _show(request, trial, code)


async def enter(request: Request, need: BakerInside, form: Form, trial: str, code: str) -> Response:
    """One entry; ``do`` says which."""
    place = text(form, "place")[:40]
    then = f"{address_of(trial, code)}#{quote(place)}" if place else address_of(trial, code)
    try:
        return await keep_soon(
            request, need, form, lambda store, who: _done(store, who.person, form, trial, code), then=then
        )
    except TrackerError as error:
        if status_of(error) not in (409, 422) or place == "":
            raise
        return await run_in_threadpool(refused_page, request, form, error, trial, code, place)


router.add_api_route(
    "/run/{trial:path}/{code}", enter, methods=["POST"], response_model=None, route_class_override=EntryRoute
)


def _done(store: Store, person: int, form: FormData, trial: str, code: str) -> object:
    deeds = {
        "reading": _reading,
        "moment": _moment,
        "weighed": _weighed,
        "outcome": _outcome,
        "note": _note,
        "undo": _undo,
    }
    deed = deeds.get(text(form, "do"))
    if deed is None:
        raise InputError("The form does not say what to do.", where="this page", try_this="load the page again")
    if any(len(value) > MOST_SIGNS for name, value in form.items() if isinstance(value, str) and name != "seen"):
        raise InputError(f"A note has at most {MOST_SIGNS} characters.", where="this page", try_this="make it shorter")
    return deed(store, person, form, trial, code)


def refused_page(request: Request, form: FormData, error: TrackerError, trial: str, code: str, place: str) -> Response:
    """The page again with what was typed, where it was typed, and what stands there."""
    asks = KEPT_WITH_A_REASON in error.what
    stands = isinstance(error, Conflict) and "recorded already" in error.what
    what = error.what.replace(f" {KEPT_WITH_A_REASON}", "")
    if stands:
        what += _entered_by(request, form, _view(request, trial, code))
    if wants_json(request):
        document = {"error": what, "next": advice(error), "asks_reason": asks or stands, "stands": stands}
        return JSONResponse(document, status_code=status_of(error))
    refused = Refused(
        place=place,
        what=what,
        next_step=advice(error) if not asks else "",
        typed=text(form, "value"),
        asks_reason=asks or stands,
        stands=stands,
    )
    return _show(request, trial, code, status=status_of(error), refused=refused, typed_in=dict(form.multi_items()))


def _show(
    request: Request,
    trial: str,
    code: str,
    *,
    status: int = 200,
    refused: Refused | None = None,
    typed_in: dict[str, object] | None = None,
) -> Response:
    run = _view(request, trial, code)
    return page(
        request,
        "run/run.html",
        status=status,
        run=run,
        here=address_of(run.trial, run.code),
        address=lambda code: address_of(run.trial, code),
        tags=TAGS,
        far_off=FAR_OFF,
        refused=refused,
        typed_in=typed_in or {},
        photo_bytes=LARGEST_BYTES,
    )


def _view(request: Request, trial: str, code: str) -> RunView:
    seen: RunView = remembered(request, ("run", trial, code), lambda: run_view(store_of(request), trial, code))
    return seen


def _entered_by(request: Request, form: FormData, run: RunView) -> str:
    """Who entered the reading or weight that stands, and when: " Entered by Bo at 05:10."; "" when that is unclear."""
    if text(form, "do") == "weighed":
        place, numbers = "weighing", {each.entry for each in run.weights if each.ingredient == text(form, "ingredient")}
    else:
        asked = (text(form, "response"), text(form, "piece"), text(form, "repeat"))
        place, numbers = (
            "reading",
            {
                cell.entry
                for response in run.responses
                for cell in response.cells
                if asked == (response.name, str(cell.piece or ""), str(cell.repeat))
            },
        )
    found = next((each for each in run.entries if each.table == place and each.number in numbers), None)
    if found is None:
        return ""
    zone = zone_of(request)
    day = datetime.fromisoformat(found.at).astimezone(zone).date()
    today = store_of(request).now().astimezone(zone).date()
    on = "" if day == today else f" on {day.isoformat()}"
    return f" Entered by {found.who}{on} at {clock(found.at, zone)}."


def address_of(trial: str, code: str) -> str:
    return f"/run/{quote(trial)}/{quote(code, safe='')}"  # as the printed code has it


def _reading(store: Store, person: int, form: FormData, trial: str, code: str) -> object:
    reason = text(form, "reason")
    return record_run(
        store,
        trial,
        code,
        [f"{text(form, 'response')}={text(form, 'value')}"],
        piece=whole_number(text(form, "piece")),
        repeat=whole_number(text(form, "repeat")),
        person=person,
        reason=reason,
        correct=bool(text(form, "correct")),
        seen=text(form, "seen"),
    )


def _moment(store: Store, person: int, form: FormData, trial: str, code: str) -> object:
    return mark_moment(
        store,
        trial,
        code,
        text(form, "what"),
        person=person,
        ago_s=_ago_s(form),
        typed=text(form, "moment"),
        reason=text(form, "reason"),
        seen=text(form, "seen"),
    )


def _weighed(store: Store, person: int, form: FormData, trial: str, code: str) -> object:
    # A reason alone replaces nothing: it may be that of an unlikely weight, typed where nothing stood yet.
    return record_run(
        store,
        trial,
        code,
        person=person,
        weighed=[f"{text(form, 'ingredient')}={text(form, 'value')}"],
        reason=text(form, "reason"),
        correct=bool(text(form, "reason") and (text(form, "seen") or text(form, "correct"))),
        seen=text(form, "seen"),
    )


def _outcome(store: Store, person: int, form: FormData, trial: str, code: str) -> object:
    oven, reason = text(form, "oven"), text(form, "reason")
    return record_run(
        store,
        trial,
        code,
        person=person,
        outcome=text(form, "state", "done"),
        reason=reason,
        deviations=text(form, "deviations"),
        oven_temperature_c=read_number(oven, what="oven temperature", where=f"run {code}") if oven else None,
        correct=bool(reason),
        seen=text(form, "seen"),
    )


def _note(store: Store, person: int, form: FormData, trial: str, code: str) -> object:
    tags = [str(tag) for tag in form.getlist("tag") if isinstance(tag, str)]
    piece = whole_number(text(form, "piece"))
    return add_note(store, trial, code, text(form, "words"), tags=tags, piece=piece, person=person)


def _undo(store: Store, person: int, form: FormData, trial: str, code: str) -> object:
    return undo_entry(store, trial, code, text(form, "table"), whole_number(text(form, "number")) or 0, person=person)


def whole_number(typed: str) -> int | None:
    """A whole number that one of our own forms put there."""
    if not typed:
        return None
    if not (typed.isascii() and typed.isdigit() and len(typed) < 10):
        raise InputError("The form was changed on its way.", where="this page", try_this="load the page again")
    return int(typed)


def _ago_s(form: FormData) -> float:
    """How long ago the button was pressed, by the tablet's own clock at both times."""
    pressed, sent = text(form, "pressed"), text(form, "sent")
    if not pressed or not sent:
        return 0.0
    try:
        waited = float(sent) - float(pressed)
    except ValueError:
        waited = nan
    if not isfinite(waited):
        raise InputError("The form was changed on its way.", where="this page", try_this="load the page again")
    return max(0.0, waited) / 1000
