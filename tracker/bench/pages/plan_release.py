"""How does a plan that is shown become a trial, and where does it come from if not from questions?

A ready plan, a plan file of one's own, the release, and the page of what was released.
"""

from __future__ import annotations

from typing import Annotated
from urllib.parse import parse_qsl, quote

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from tracker.bench.failing import OURS
from tracker.bench.kit import form_of, keep, needs, page, settings_of, store_of, text, typed
from tracker.bench.pages.plan import proposal_of, walk_of
from tracker.bench.pages.plan_asking import read_asking
from tracker.bench.pages.plan_shown import Wrong, address, looked_at, read, shown, wrong_of
from tracker.bench.pages.tasting import LOCAL
from tracker.errors import InputError
from tracker.workflow.accounts import AccountLine
from tracker.workflow.plan_papers import PAPERS, paper, paper_style
from tracker.workflow.plan_working import chosen_name, release
from tracker.workflow.starters import find_starter
from tracker.workflow.trials import show_trial

router = APIRouter()
Analyst = Annotated[AccountLine, Depends(needs("analyst"))]
Form = Annotated[FormData, Depends(form_of)]
RELEASE_PATIENCE_S = 120.0
TEXT_PATIENCE_S = 20.0


@router.get("/plan/ready/{name}")
def ready(request: Request, who: Analyst, name: str) -> Response:
    return _look(request, find_starter(name).text, read_asking(request.query_params.multi_items()).seed)


@router.get("/plan/own")
def own(request: Request, who: Analyst) -> Response:
    return page(
        request,
        "plan/own.html",
        plan="",
        seed=read_asking(request.query_params.multi_items()).seed,
        wrong=None,
    )


@router.post("/plan/own")
def look(request: Request, who: Analyst, form: Form) -> Response:
    """A plan file that was pasted or chosen; nothing is written."""
    seed = read_asking(typed(form)).seed
    try:
        plan = _uploaded(form) or _plan_text(form)
        if not plan.strip():
            raise InputError("There is no plan yet.", try_this="paste one, or choose a file")
    except OURS as error:
        return _own(request, "", seed, wrong_of(error))
    return _look(request, plan, seed)


def _own(request: Request, plan: str, seed: int, wrong: Wrong) -> Response:
    return page(request, "plan/own.html", status=wrong.status, plan=plan, seed=seed, wrong=wrong)


def _look(request: Request, plan: str, seed: int, wrong: Wrong | None = None) -> Response:
    try:
        worked = read(request, plan, seed, TEXT_PATIENCE_S)
        view = looked_at(request, worked, patience=TEXT_PATIENCE_S) if worked else None
    except OURS as error:
        return _own(request, plan, seed, wrong_of(error))
    if worked is None or view is None:
        return page(request, "plan/working_own.html", status=202, plan=plan, seed=seed)
    return shown(request, view, worked, seed=seed, wrong=wrong)


def _plan_text(form: FormData) -> str:
    """As it was written: a form turns the ends of lines into two signs."""
    said = text(form, "plan").replace("\r\n", "\n")
    return f"{said}\n" if said else ""


def _uploaded(form: FormData) -> str:
    file = form.get("file")
    if not isinstance(file, UploadFile):
        return ""
    try:
        with file.file as opened:
            return opened.read().decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as wrong:
        raise InputError("The file is no plain text in UTF-8.", try_this="the plan file itself (TOML)") from wrong


# -- the release --------------------------------------------------------------------


@router.post("/plan/release")
def release_it(request: Request, who: Analyst, form: Form) -> Response:
    """What was shown becomes a trial, once, whatever is sent again."""
    plan, asked, name = _plan_text(form), text(form, "asked"), text(form, "name")
    if not plan:
        raise InputError("The plan to release is missing.", where="this page", try_this="load the page again")
    seed = read_asking([("seed", text(form, "seed"))]).seed
    try:
        worked = read(request, plan, seed, RELEASE_PATIENCE_S)
        if worked is None:
            raise InputError("The plan is still being worked out.", try_this="release it again in a minute")
        chosen = chosen_name(store_of(request), worked, name)
        then = f"{address('/plan/trial', chosen)}&plan={seed}"
        return keep(
            request,
            who,
            form,
            lambda store: release(store, worked, name=chosen, person=who.person),
            then=then,
        )
    except OURS as error:
        return _again(request, plan, seed, asked, wrong_of(error, name))


def _again(request: Request, plan: str, seed: int, asked: str, wrong: Wrong) -> Response:
    """The page that was released from, with what stopped it."""
    if asked:
        asking, found = walk_of(request, read_asking(parse_qsl(asked, keep_blank_values=True)))
        if not found.page:
            return proposal_of(request, asking, found, wrong)
    return _look(request, plan, seed, wrong)


@router.get("/plan/trial")
def planned(request: Request, who: Analyst, trial: str = "") -> Response:
    """A trial that was released: its papers, its runs, the way to the first one."""
    view = show_trial(store_of(request), trial)
    host = request.headers["host"]
    only_here = host if any(name in host for name in LOCAL) else ""
    return page(
        request, "plan/trial.html", trial=view, papers=PAPERS, address=address, quote=quote, only_here=only_here
    )


@router.get("/plan/paper/{kind}")
def print_(request: Request, who: Analyst, kind: str, trial: str = "") -> Response:
    """A paper to print; its codes lead back to this address."""
    here = f"{settings_of(request).scheme}://{request.headers['host']}"
    style = address(f"/plan/paper/{quote(kind, safe='')}/style", trial)
    made = paper(store_of(request), trial, kind, address=here, style=style, icon="/static/icon.svg")
    return Response(made, media_type="text/html; charset=utf-8")


@router.get("/plan/paper/{kind}/style")
def style(request: Request, who: Analyst, kind: str, trial: str = "") -> Response:
    return Response(paper_style(store_of(request), trial, kind), media_type="text/css; charset=utf-8")
