"""What is in the dough, and what do these amounts give? The editor in baker's percent with its balance."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData
from starlette.responses import JSONResponse, Response

from tracker.bench.failing import OURS
from tracker.bench.kit import advice, form_of, keep, needs, page, status_of, store_of, text, wants_json
from tracker.bench.remembered import remembered
from tracker.workflow.accounts import AccountLine
from tracker.workflow.formula_pages import (
    TypedLine,
    ingredient_names,
    lines_of,
    live_balance,
    read_typed,
)
from tracker.workflow.formulas import StoredFormula, add_formula, list_formulas, show_formula

router = APIRouter()
Baker = Annotated[AccountLine, Depends(needs("baker"))]
Analyst = Annotated[AccountLine, Depends(needs("analyst"))]
Form = Annotated[FormData, Depends(form_of)]
MOST_LINES, SPARE = 60, 3  # lines of a formula; empty ones below those that are filled


def address(name: str) -> str:
    return f"/formula?name={quote(name, safe='')}"


@router.get("/formula")
@router.get("/formula/keep")
def show(request: Request, who: Baker, name: str = "", version: str = "", new: str = "") -> Response:
    """Every formula, one of them in the editor, or an empty editor."""
    store = store_of(request)
    if new:
        # Named after how many there are, so that the draft of one that was kept does not come back in the next.
        draft = f"new {len(list_formulas(store))}"
        return _editor(request, "", (TypedLine(ingredient="wheat flour", percent="100", flour=True),), "", draft=draft)
    if not name:
        formulas = remembered(request, "formulas", lambda: list_formulas(store))
        return page(request, "formula/formulas.html", formulas=formulas, address=address)
    wanted = int(version) if version.isascii() and version.isdigit() and len(version) < 6 else None
    found = show_formula(store, name, wanted)
    return _editor(request, found.formula.name, lines_of(found), found.formula.method, found=found, draft=found.title)


@router.post("/formula")
def weigh_up(request: Request, who: Baker, form: Form) -> Response:
    """The balance of what is typed; nothing is kept."""
    return _editor(request, text(form, "name"), _lines(form), text(form, "method"), draft=text(form, "draft"))


@router.post("/formula/balance")
def balance(request: Request, who: Baker, form: Form) -> Response:
    """The same for the script that asks as amounts change."""
    return JSONResponse(live_balance(store_of(request), _lines(form), name=text(form, "name")).to_json())


@router.post("/formula/keep")
def keep_it(request: Request, who: Analyst, form: Form) -> Response:
    """Keep the formula: a new one, or the next version of the name."""
    name, lines, method = text(form, "name"), _lines(form), text(form, "method")
    try:
        formula = read_typed(name, lines, method=method)
        return keep(
            request,
            who,
            form,
            lambda store: add_formula(store, formula, person=who.person),
            then=address(formula.name),
        )
    except OURS as error:
        if wants_json(request):
            raise
        wrong = {"what": getattr(error, "what", str(error)), "next": advice(error)}  # type: ignore[arg-type]
        return _editor(request, name, lines, method, draft=text(form, "draft"), wrong=wrong, status=status_of(error))


def _editor(
    request: Request,
    name: str,
    lines: tuple[TypedLine, ...],
    method: str,
    *,
    draft: str,
    found: StoredFormula | None = None,
    wrong: dict[str, str] | None = None,
    status: int = 200,
) -> Response:
    filled = tuple(line for line in lines if not line.empty)
    spare = min(SPARE, MOST_LINES - len(filled))
    return page(
        request,
        "formula/editor.html",
        status=status,
        name=name,
        lines=(*filled, *(TypedLine(ingredient="", percent="") for _ in range(spare))),
        method=method,
        draft=draft,
        found=found,
        wrong=wrong,
        balance=live_balance(store_of(request), filled, name=name),
        names=ingredient_names(),
        address=address,
    )


def _lines(form: FormData) -> tuple[TypedLine, ...]:
    """Fields ``ingredient:1``, ``percent:1``, ``flour:1`` and so on, in order."""
    found = []
    for place in range(1, MOST_LINES + 1):
        if f"ingredient:{place}" in form or f"percent:{place}" in form:
            found.append(
                TypedLine(
                    ingredient=text(form, f"ingredient:{place}"),
                    percent=text(form, f"percent:{place}"),
                    flour=text(form, f"flour:{place}") == "yes",
                )
            )
    return tuple(found)
