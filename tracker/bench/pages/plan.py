"""What shall be baked, and what will it tell? Questions, a ready plan or a plan file; then the release."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated
from urllib.parse import parse_qsl, quote, urlencode

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import RedirectResponse, Response

from tracker.bench.failing import OURS
from tracker.bench.kit import advice, form_of, keep, needs, page, settings_of, status_of, store_of, text, typed
from tracker.bench.pages.plan_asking import Asking, read_asking
from tracker.bench.pages.plan_work import workshop
from tracker.errors import InputError
from tracker.workflow.accounts import AccountLine
from tracker.workflow.formulas import list_formulas
from tracker.workflow.plan_pages import (
    PlanView,
    Worked,
    chosen_name,
    draw_seed,
    read_out,
    release,
    view_plan,
    work_out,
)
from tracker.workflow.plan_papers import PAPERS, paper, paper_style
from tracker.workflow.plan_walk import Walk, walk
from tracker.workflow.starters import find_starter, list_starters
from tracker.workflow.trials import list_trials, show_trial
from tracker.workflow.wishes import Wishes

router = APIRouter()
Analyst = Annotated[AccountLine, Depends(needs("analyst"))]
Form = Annotated[FormData, Depends(form_of)]
LOOK_AGAIN_S = "3"
RELEASE_PATIENCE_S = 120.0
TEXT_PATIENCE_S = 20.0


@dataclass(frozen=True, kw_only=True)
class Wrong:
    """What was refused, and the name that was typed for the trial."""

    what: str
    next: str
    status: int
    name: str = ""


def wrong_of(error: Exception, name: str = "") -> Wrong:
    return Wrong(
        what=str(getattr(error, "what", error)),
        next=advice(error),  # type: ignore[arg-type]
        status=status_of(error),
        name=name,
    )


def address(path: str, trial: str) -> str:
    return f"{path}?trial={quote(trial, safe='')}"


@router.get("/plan")
def begin(request: Request, who: Analyst) -> Response:
    store = store_of(request)
    return page(
        request,
        "plan/begin.html",
        seed=draw_seed(),
        starters=list_starters(),
        trials=[each for each in reversed(list_trials(store)) if each.state != "closed"],
        formulas=len(list_formulas(store)),
        address=address,
    )


# -- the questions ------------------------------------------------------------------


@router.get("/plan/ask")
def ask(request: Request, who: Analyst) -> Response:
    """The next question, or the one that was asked for."""
    asking = read_asking(request.query_params.multi_items())
    found = _walk(request, asking)
    if not found.page:
        return RedirectResponse(asking.address("/plan/proposal"), status_code=303)
    refused = any(each.refusal for each in found.page)
    names = [each.name for each in found.page]
    return page(
        request,
        "plan/ask.html",
        status=422 if refused else 200,
        found=found,
        asking=asking,
        hidden=asking.fields(without=[*names, "choose", "times"]),
        head=names[0],
    )


@router.get("/plan/answers")
def answers(request: Request, who: Analyst) -> Response:
    asking = read_asking(request.query_params.multi_items())
    return _answers(request, asking, _walk(request, asking))


@router.get("/plan/proposal")
def propose(request: Request, who: Analyst) -> Response:
    """What is advised for the answers, and what else there is."""
    asking = read_asking(request.query_params.multi_items())
    found = _walk(request, asking)
    if found.page:
        return RedirectResponse(asking.address("/plan/ask"), status_code=303)
    return _proposal(request, asking, found)


def _walk(request: Request, asking: Asking) -> Walk:
    formulas = {each.formula.name: each.formula.ingredients() for each in list_formulas(store_of(request))}
    return walk(formulas, asking.texts, at=asking.at, until=asking.until)


def _answers(request: Request, asking: Asking, found: Walk, wrong: Wrong | None = None) -> Response:
    return page(
        request,
        "plan/answers.html",
        status=wrong.status if wrong else 200,
        found=found,
        asking=replace(asking, choose="", times=None),
        wrong=wrong,
    )


def _proposal(request: Request, asking: Asking, found: Walk, wrong: Wrong | None = None) -> Response:
    """The proposal; what cannot be of another design or other repeats is said beside the one there was."""
    try:
        worked = _worked(request, asking, found.wishes)
        if worked is None:
            return _working(request, asking)
        view = view_plan(store_of(request), worked)
    except OURS as error:
        if asking.times:
            return _proposal(request, replace(asking, times=None), found, wrong_of(error))
        if asking.choose:
            return _proposal(request, replace(asking, choose=""), found, wrong_of(error))
        return _answers(request, asking, found, wrong_of(error))
    return _shown(request, view, worked, asking=asking, found=found, wrong=wrong)


def _worked(request: Request, asking: Asking, wishes: Wishes) -> Worked | None:
    what = ("asked", repr(wishes), asking.seed, asking.choose, asking.times)
    worked = workshop(request).ask(
        what, lambda: work_out(wishes, seed=asking.seed, choose=asking.choose, times=asking.times)
    )
    if worked is not None:
        workshop(request).know(("text", worked.text), worked)
    return worked


def _working(request: Request, asking: Asking) -> Response:
    answer = page(request, "plan/working.html", status=202, again=asking.address("/plan/proposal"))
    answer.headers["refresh"] = LOOK_AGAIN_S
    return answer


def _shown(
    request: Request,
    view: PlanView,
    worked: Worked,
    *,
    asking: Asking | None = None,
    found: Walk | None = None,
    wrong: Wrong | None = None,
    status: int = 200,
) -> Response:
    fields = {each.name: each for each in found.answered} if found else {}
    return page(
        request,
        "plan/proposal.html",
        status=wrong.status if wrong else status,
        view=view,
        worked=worked,
        asking=asking,
        asked=urlencode(asking.fields()) if asking else "",
        day=fields.get("bakes-a-day"),
        most=fields.get("bakes-at-most"),
        wrong=wrong,
    )


# -- a ready plan, or a plan file ---------------------------------------------------


@router.get("/plan/ready/{name}")
def ready(request: Request, who: Analyst, name: str) -> Response:
    return _look(request, find_starter(name).text, read_asking(request.query_params.multi_items()).seed)


@router.get("/plan/own")
def own(request: Request, who: Analyst) -> Response:
    return page(request, "plan/own.html", plan="", wrong=None)


@router.post("/plan/own")
def look(request: Request, who: Analyst, form: Form) -> Response:
    """A plan file that was pasted or chosen; nothing is written."""
    try:
        plan = _uploaded(form) or _plan_text(form)
    except OURS as error:
        return _own(request, "", wrong_of(error))
    if not plan.strip():
        return _own(request, "", wrong_of(InputError("There is no plan yet.", try_this="paste one, or choose a file")))
    return _look(request, plan, read_asking(typed(form)).seed)


def _own(request: Request, plan: str, wrong: Wrong) -> Response:
    return page(request, "plan/own.html", status=wrong.status, plan=plan, wrong=wrong)


def _look(request: Request, plan: str, seed: int, wrong: Wrong | None = None) -> Response:
    try:
        worked = _read(request, plan, seed, TEXT_PATIENCE_S)
        if worked is None:
            return page(request, "plan/working_own.html", status=202, plan=plan, seed=seed)
        view = view_plan(store_of(request), worked)
    except OURS as error:
        return _own(request, plan, wrong_of(error))
    return _shown(request, view, worked, wrong=wrong)


def _read(request: Request, plan: str, seed: int, patience: float) -> Worked | None:
    """Known already where it was shown, with the seed that it was shown with."""
    known = workshop(request).known(("text", plan))
    if known is not None and known.seed in (None, seed):
        return known
    return workshop(request).ask(("text", plan, seed), lambda: read_out(plan, seed=seed), patience=patience)


def _plan_text(form: FormData) -> str:
    """As it was written: a form turns the ends of lines into two signs."""
    said = text(form, "plan").replace("\r\n", "\n")
    return f"{said}\n" if said else ""


def _uploaded(form: FormData) -> str:
    file = form.get("file")
    if not isinstance(file, UploadFile) or not file.size:
        return ""
    try:
        return file.file.read().decode("utf-8-sig").replace("\r\n", "\n")
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
        worked = _read(request, plan, seed, RELEASE_PATIENCE_S)
        if worked is None:
            raise InputError("The plan is still being worked out.", try_this="release it again in a minute")
        chosen = chosen_name(store_of(request), worked, name)
        then = address("/plan/trial", chosen)
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
        asking = read_asking(parse_qsl(asked, keep_blank_values=True))
        found = _walk(request, asking)
        if not found.page:
            return _proposal(request, asking, found, wrong)
    return _look(request, plan, seed, wrong)


@router.get("/plan/trial")
def planned(request: Request, who: Analyst, trial: str = "") -> Response:
    """A trial that was released: its papers, its runs, the way to the first one."""
    view = show_trial(store_of(request), trial)
    return page(request, "plan/trial.html", trial=view, papers=PAPERS, address=address, quote=quote)


@router.get("/plan/paper/{kind}")
def print_(request: Request, who: Analyst, kind: str, trial: str = "") -> Response:
    """A paper to print; its codes lead back to this address."""
    here = f"{settings_of(request).scheme}://{request.headers['host']}"
    style = address(f"/plan/paper/{quote(kind, safe='')}/style", trial)
    made = paper(store_of(request), trial, kind, address=here, style=style)
    return Response(made, media_type="text/html; charset=utf-8")


@router.get("/plan/paper/{kind}/style")
def style(request: Request, who: Analyst, kind: str, trial: str = "") -> Response:
    return Response(paper_style(store_of(request), trial, kind), media_type="text/css; charset=utf-8")
