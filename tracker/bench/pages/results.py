"""What did a trial find, what would other settings give, and what is baked next?"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from threading import BoundedSemaphore, Lock
from typing import Annotated, TypeVar
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData, State
from starlette.responses import Response

from tracker.bench.failing import OURS
from tracker.bench.kit import advice, form_of, keep, needs, page, status_of, store_of, text
from tracker.bench.remembered import record_seen, remembered
from tracker.errors import Busy, NotFound
from tracker.workflow.accounts import AccountLine
from tracker.workflow.balance_at import facts_at
from tracker.workflow.exporting import export_table
from tracker.workflow.extending import ExtendedTrial
from tracker.workflow.number_line import Line, line_of
from tracker.workflow.report_portions import portion, portions
from tracker.workflow.results_pages import Results, add_proposed, kept_together, results_of, start
from tracker.workflow.trials import list_trials
from tracker.workflow.what_if import Foretold, foretell, read_settings

T = TypeVar("T")
router = APIRouter()
Analyst = Annotated[AccountLine, Depends(needs("analyst"))]
Form = Annotated[FormData, Depends(form_of)]
SETTING = "set:"
KEPT = 8  # answers that stay in memory
WAITING, PATIENCE_S = 6, 30.0  # who may wait for an answer at once (of some 40 threads), and how long
KINDS = {
    "report.html": "text/html; charset=utf-8",
    "readings.csv": "text/csv; charset=utf-8",
    "readings.xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def address(path: str, trial: str, **more: str) -> str:
    """A page about a trial; any name fits into it."""
    said = "".join(f"&{name}={quote(value, safe='')}" for name, value in more.items())
    return f"{path}?trial={quote(trial, safe='')}{said}"


@router.get("/results")
def show(request: Request, who: Analyst, trial: str = "") -> Response:
    """Every trial, or the answer of one."""
    if not trial:
        trials = remembered(request, "trials", lambda: list_trials(store_of(request)))
        return page(request, "results/trials.html", trials=trials, address=address)
    return _answer(request, trial)


@router.get("/results/parts")
def parts(request: Request, who: Analyst, trial: str = "", part: str = "", sheet: int = 1) -> Response:
    """What the answer rests on, part by part; a part with many pictures is spread over several pages."""
    found = _results(request, trial)
    sections = _kept(request, ("parts", trial), lambda: found.whole().sections)
    section = next((each for each in sections if each.key == part), None)
    if part and section is None:
        raise NotFound(f'The report of "{trial}" has no part "{part}".', where="results", try_this="a part of the list")
    return page(
        request,
        "results/parts.html",
        trial=trial,
        title=found.answer.title,
        sections=sections,
        section=section,
        blocks_of=portion(section, sheet) if section else (),
        sheet=sheet,
        sheets=portions(section) if section else 0,
        minus=kept_together,
        address=address,
    )


@router.get("/results/download/{name}")
def download(request: Request, who: Analyst, name: str, trial: str = "") -> Response:
    """The report or the readings as a file of its own, never shown inside the bench."""
    kind = KINDS.get(name)
    if kind is None:
        raise NotFound(f'There is no file "{name}".', where="results", try_this="one of " + ", ".join(KINDS))
    content: str | bytes
    if name == "report.html":
        found = _results(request, trial)
        content = _kept(request, ("html", trial), found.html)
    else:
        table = export_table(store_of(request), trial)
        content = table.csv() if name == "readings.csv" else table.xlsx()
    stem, _, ending = name.partition(".")
    full = f"{trial} {stem}.{ending}"
    plain = "".join(each if each.isascii() and (each.isalnum() or each in " .-") else "_" for each in full)
    shown = f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(full, safe='')}"
    return Response(content, media_type=kind, headers={"content-disposition": shown})


@router.get("/results/next")
def back(request: Request, who: Analyst, trial: str = "") -> Response:
    return show(request, who, trial)


@router.post("/results/next")
def bake_next(request: Request, who: Analyst, form: Form) -> Response:
    """Add what is proposed to the plan: new runs behind those there are."""
    trial, words = text(form, "trial"), text(form, "proposal")
    found = _results(request, trial)

    def then(planned: ExtendedTrial | None) -> str:
        return address("/results", trial, added=str(len(planned.extended.added)) if planned else "")

    return keep(request, who, form, lambda store: add_proposed(store, found, words, person=who.person), then=then)


def _answer(request: Request, trial: str) -> Response:
    found = _results(request, trial)
    typed = {
        name.removeprefix(SETTING): value
        for name, value in request.query_params.multi_items()
        if name.startswith(SETTING)
    }
    foretold: tuple[tuple[Foretold, Line], ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    wrong, status = None, 200
    if typed:
        try:
            foretold = tuple((each, line_of(each)) for each in foretell(found.answer.analysis, typed))
            facts = facts_at(store_of(request), trial, read_settings(found.answer.analysis, typed))
        except OURS as error:
            wrong = {"what": getattr(error, "what", str(error)), "next": advice(error)}  # type: ignore[arg-type]
            status = status_of(error)
    why = found.answer.why_none
    added = request.query_params.get("added", "")
    return page(
        request,
        "results/one.html",
        status=status,
        trial=trial,
        found=found,
        why=None if why is None else {"what": why.what, "next": advice(why)},  # type: ignore[arg-type]
        typed=typed,
        foretold=foretold,
        facts=facts,
        wrong=wrong,
        added=added if added.isascii() and added.isdigit() and len(added) < 4 else "",
        address=address,
        start=start,
        minus=kept_together,
        downloads=tuple(KINDS),
    )


def _results(request: Request, trial: str) -> Results:
    return _kept(request, ("first", trial), lambda: results_of(store_of(request), trial))


def _kept(request: Request, what: tuple[str, str], make: Callable[[], T]) -> T:
    """What was computed stays as long as nothing is entered; two who ask at once wait for one.

    One is computed at a time: libraries catch their warnings, and draw, in ways that threads share. Whoever asks for
    what is kept waits for nobody, and so few wait that the other pages keep their threads.
    """
    state = request.app.state
    if not hasattr(state, "answers"):
        state.answers, state.answering, state.asking = OrderedDict(), Lock(), BoundedSemaphore(WAITING)
    now = record_seen(request)
    had = state.answers.get(what)
    if had is None or had[0] != now:
        had = _computed(state, what, now, make)
    answer: T = had[1]
    return answer


def _computed(state: State, what: tuple[str, str], now: str, make: Callable[[], T]) -> tuple[str, T]:
    busy = Busy("Other answers are being computed.", where="results", try_this="the same in a moment")
    if not state.asking.acquire(blocking=False):
        raise busy
    try:
        if not state.answering.acquire(timeout=PATIENCE_S):
            raise busy
        try:
            had: tuple[str, T] | None = state.answers.get(what)
            if had is None or had[0] != now:
                had = (now, make())
            state.answers[what] = had
            state.answers.move_to_end(what)
            while len(state.answers) > KEPT:
                state.answers.popitem(last=False)
            return had
        finally:
            state.answering.release()
    finally:
        state.asking.release()
