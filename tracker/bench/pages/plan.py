"""What shall be baked, and what will it tell? Questions, a ready plan or a plan file; then the release."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from tracker.bench.failing import OURS
from tracker.bench.kit import needs, page, store_of
from tracker.bench.pages.plan_asking import Asking, read_asking
from tracker.bench.pages.plan_shown import Wrong, address, looked_at, shown, wrong_of
from tracker.bench.pages.plan_work import workshop
from tracker.bench.remembered import remembered
from tracker.workflow.accounts import AccountLine
from tracker.workflow.formulas import list_formulas, newest_first
from tracker.workflow.plan_walk import Walk, walk
from tracker.workflow.plan_working import Worked, draw_seed, work_out
from tracker.workflow.questions import advise_on
from tracker.workflow.starters import list_starters
from tracker.workflow.trials import list_trials
from tracker.workflow.wishes import Wishes

router = APIRouter()
Analyst = Annotated[AccountLine, Depends(needs("analyst"))]
LOOK_AGAIN_S = "3"


@router.get("/plan")
def begin(request: Request, who: Analyst) -> Response:
    store = store_of(request)
    trials = remembered(request, "trials", lambda: list_trials(store))
    formulas = remembered(request, "formulas", lambda: list_formulas(store))
    return page(
        request,
        "plan/begin.html",
        seed=draw_seed(),
        starters=remembered(request, "starters", list_starters),
        trials=[each for each in reversed(trials) if each.state != "closed"],
        formulas=len(formulas),
        address=address,
    )


# -- the questions ------------------------------------------------------------------


@router.get("/plan/ask")
def ask(request: Request, who: Analyst) -> Response:
    """The next question, or the one that was asked for."""
    asking, found = walk_of(request, read_asking(request.query_params.multi_items()))
    if not found.page:
        return RedirectResponse(asking.address("/plan/proposal"), status_code=303)
    refused = any(each.refusal for each in found.page)
    names = [each.name for each in found.page]
    tapped = _tapped(found)
    return page(
        request,
        "plan/ask.html",
        status=422 if refused else 200,
        found=found,
        asking=asking,
        # A tap is sent behind what was answered before, which going back must not lose.
        hidden=asking.fields(without=["choose", "times", *([] if tapped else names)]),
        head=names[0],
        tapped=tapped,
    )


def _tapped(found: Walk) -> bool:
    """Is it one question with a few answers, each a large button?"""
    asked = found.page[0].asked
    return len(found.page) == 1 and bool(asked.choices or asked.key in ("formula", "line"))


@router.get("/plan/answers")
def answers(request: Request, who: Analyst) -> Response:
    asking, found = walk_of(request, read_asking(request.query_params.multi_items()))
    return _answers(request, asking, found)


@router.get("/plan/proposal")
def propose(request: Request, who: Analyst) -> Response:
    """What is advised for the answers, and what else there is."""
    asking, found = walk_of(request, read_asking(request.query_params.multi_items()))
    if found.page:
        return RedirectResponse(asking.address("/plan/ask"), status_code=303)
    return proposal_of(request, asking, found)


def walk_of(request: Request, asking: Asking) -> tuple[Asking, Walk]:
    """How far it is; a default that was left as it stood is brought along as such."""
    formulas = newest_first(list_formulas(store_of(request)))
    found = walk(formulas, asking.texts, at=asking.at, until=asking.until)
    texts = {**asking.texts, **{each.name: each.text for each in found.answered}}
    return replace(asking, texts=texts), found


def _answers(request: Request, asking: Asking, found: Walk, wrong: Wrong | None = None) -> Response:
    return page(
        request,
        "plan/answers.html",
        status=wrong.status if wrong else 200,
        found=found,
        asking=replace(asking, choose="", times=None),
        wrong=wrong,
    )


def proposal_of(request: Request, asking: Asking, found: Walk, wrong: Wrong | None = None) -> Response:
    """The proposal; what cannot be of another design or other repeats is said beside the one there was."""
    try:
        worked = _worked(request, asking, found.wishes)
        view = looked_at(request, worked) if worked else None
    except OURS as error:
        if asking.times:
            return proposal_of(request, replace(asking, times=None), found, wrong_of(error))
        if asking.choose:
            return proposal_of(request, replace(asking, choose=""), found, wrong_of(error))
        return _answers(request, asking, found, wrong_of(error))
    if worked is None or view is None:
        return _working(request, asking)
    return shown(request, view, worked, seed=asking.seed, asking=asking, found=found, wrong=wrong)


def _worked(request: Request, asking: Asking, wishes: Wishes) -> Worked | None:
    """The search is done once for the answers; another design and other repeats are laid out from what it found."""
    work, answered = workshop(request), (repr(wishes), asking.seed)
    found = work.ask(("advice", *answered), lambda: advise_on(wishes, seed=asking.seed))
    if found is None:
        return None
    worked = work.ask(
        ("plan", *answered, asking.choose, asking.times),
        lambda: work_out(wishes, found, choose=asking.choose, times=asking.times),
    )
    if worked is not None:
        work.know(("text", worked.text), worked)
    return worked


def _working(request: Request, asking: Asking) -> Response:
    answer = page(request, "plan/working.html", status=202, again=asking.address("/plan/proposal"))
    answer.headers["refresh"] = LOOK_AGAIN_S
    return answer
