"""What do the pages of a plan share: what was refused, the plan of a text, the page of a proposal?"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote, urlencode

from fastapi import Request
from starlette.responses import Response

from tracker.bench.kit import advice, page, status_of, store_of
from tracker.bench.pages.plan_asking import Asking
from tracker.bench.pages.plan_work import workshop
from tracker.workflow.plan_pages import PlanView, view_plan
from tracker.workflow.plan_walk import Walk
from tracker.workflow.plan_working import Worked, read_out
from tracker.workflow.results_pages import state_of_record


@dataclass(frozen=True, kw_only=True)
class Wrong:
    """What was refused, and the name that was typed for the trial."""

    what: str
    where: str
    next: str
    status: int
    name: str = ""


def wrong_of(error: Exception, name: str = "") -> Wrong:
    return Wrong(
        what=str(getattr(error, "what", error)),
        where=str(getattr(error, "where", "")),
        next=advice(error),  # type: ignore[arg-type]
        status=status_of(error),
        name=name,
    )


def address(path: str, trial: str) -> str:
    return f"{path}?trial={quote(trial, safe='')}"


def shown(
    request: Request,
    view: PlanView,
    worked: Worked,
    *,
    seed: int,
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
        seed=seed,
        asking=asking,
        asked=urlencode(asking.fields()) if asking else "",
        day=fields.get("bakes-a-day"),
        most=fields.get("bakes-at-most"),
        wrong=wrong,
    )


def looked_at(request: Request, worked: Worked, *, patience: float | None = None) -> PlanView | None:
    """What its page says, kept as long as nothing is entered; None while it is being worked out."""
    store = store_of(request)
    what = ("view", worked.text, worked.seed, state_of_record(store))
    return workshop(request).ask(what, lambda: view_plan(store, worked), patience=patience)


def read(request: Request, plan: str, seed: int, patience: float) -> Worked | None:
    """Known already where it was shown, with the seed that it was shown with."""
    known = workshop(request).known(("text", plan))
    if known is not None and known.seed in (None, seed):
        return known
    return workshop(request).ask(("text", plan, seed), lambda: read_out(plan, seed=seed), patience=patience)
