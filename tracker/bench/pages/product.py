"""What is baked day by day? A product begins here: its name, what is read of each batch, what it has to meet."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData
from starlette.responses import Response

from tracker.bench.failing import OURS
from tracker.bench.kit import advice, form_of, keep, needs, page, status_of, store_of, text, wants_json
from tracker.bench.pages.batch import address
from tracker.workflow.accounts import AccountLine
from tracker.workflow.trials import list_trials
from tracker.workflow.typed_products import TypedReading, add_typed_product

router = APIRouter()
Analyst = Annotated[AccountLine, Depends(needs("analyst"))]
Form = Annotated[FormData, Depends(form_of)]
LINES = 3  # readings that a product begins with; more come with its batches
MOST_TRIALS = 12


@router.get("/batch/product")
def show(request: Request, who: Analyst) -> Response:
    return _page(request, "", (TypedReading(name="rise height", unit="mm"),), "")


@router.post("/batch/product")
def make(request: Request, who: Analyst, form: Form) -> Response:
    """Make the product; what was typed stays when something is wrong with it."""
    name, trial, readings = text(form, "name"), text(form, "trial"), _readings(form)
    try:
        return keep(
            request,
            who,
            form,
            lambda store: add_typed_product(store, name, readings, trial=trial, person=who.person),
            then=address("/batch", " ".join(name.split())),
        )
    except OURS as error:
        if wants_json(request):
            raise
        wrong = {"what": getattr(error, "what", str(error)), "next": advice(error)}  # type: ignore[arg-type]
        return _page(request, name, readings, trial, wrong=wrong, status=status_of(error))


def _readings(form: FormData) -> tuple[TypedReading, ...]:
    return tuple(
        TypedReading(
            name=text(form, f"reading:{place}"),
            unit=text(form, f"unit:{place}"),
            lower=text(form, f"lower:{place}"),
            upper=text(form, f"upper:{place}"),
            target=text(form, f"target:{place}"),
        )
        for place in range(1, LINES + 1)
    )


def _page(
    request: Request,
    name: str,
    readings: tuple[TypedReading, ...],
    trial: str,
    *,
    wrong: dict[str, str] | None = None,
    status: int = 200,
) -> Response:
    trials = [each for each in list_trials(store_of(request)) if each.baked][-MOST_TRIALS:]
    lines = (*readings, *(TypedReading() for _ in range(LINES - len(readings))))
    return page(
        request,
        "batch/product.html",
        status=status,
        name=name,
        lines=lines,
        trial=trial,
        trials=trials,
        wrong=wrong,
    )
