"""What answers a tablet that asks for a page?"""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from anyio import CapacityLimiter
from fastapi import Depends, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.staticfiles import StaticFiles

from tracker.bench.cookies import HostCookies
from tracker.bench.delays import Delays
from tracker.bench.guard import Guard
from tracker.bench.kit import (
    HERE,
    HOW,
    SECRET,
    NotAllowed,
    NotSignedIn,
    SomebodyElse,
    advice,
    environment,
    page,
    status_of,
    store_of,
    typed,
    wants_json,
)
from tracker.bench.known import Known
from tracker.bench.pages import PAGES
from tracker.bench.remembered import Memory
from tracker.bench.settings import BenchSettings
from tracker.bench.versions import same_kitchen
from tracker.bench.writer import Writer
from tracker.errors import NewerTables, NotNow, TrackerError
from tracker.workflow.kitchens import Store
from tracker.workflow.today import kitchen_line


def make_app(store: Store, settings: BenchSettings) -> FastAPI:
    """The bench of one open kitchen; whoever opened the store closes it."""
    looked = [Depends(same_kitchen)]
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None, lifespan=_lifespan, dependencies=looked)
    app.state.store, app.state.settings = store, settings
    app.state.templates = environment()
    app.state.writer = Writer(store)
    app.state.doormen = CapacityLimiter(4)
    app.state.delays = Delays(store)
    app.state.memory = Memory()
    app.state.known = Known(store)
    app.state.kitchen_name, app.state.kitchen_zone = kitchen_line(store)
    app.state.first_code = settings.first_code
    app.state.templates.globals["kitchen"] = app.state.kitchen_name
    for each in PAGES:
        app.include_router(each.router)
    app.mount("/static", StaticFiles(directory=HERE / "static"))
    _errors(app)
    if settings.tls:
        app.add_middleware(HostCookies)
    app.add_middleware(Guard, settings=settings)  # added last, asked first
    return app


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    app.state.writer.start()
    try:
        yield
    finally:
        app.state.writer.stop()
        app.state.known.close()


def _errors(app: FastAPI) -> None:
    app.add_exception_handler(NotSignedIn, _ask_who)
    app.add_exception_handler(NotAllowed, _not_allowed)
    app.add_exception_handler(SomebodyElse, _somebody_else)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _validation)
    from tracker.bench.failing import OURS

    for family in OURS:
        app.add_exception_handler(family, _ours)


async def _ask_who(request: Request, error: Exception) -> Response:
    if wants_json(request):
        return JSONResponse({"error": "Nobody is signed in on this tablet.", "sign_in": True}, status_code=401)
    from tracker.bench.pages.signing import ask_who, has_owner
    from tracker.bench.pages.taste import ask_code

    if request.method == "GET" and not has_owner(store_of(request)):
        return RedirectResponse("/start", status_code=303)  # nobody could sign in yet
    kept = [pair for pair in typed(await _form(request)) if pair[0] not in SECRET] if request.method == "POST" else []
    if request.url.path == "/taste":  # assessors come in by a code
        return ask_code(request, kept=kept, status=401, said="Your time was over. Type the code of your card again.")
    return ask_who(request, kept=kept, status=401)


async def _not_allowed(request: Request, error: Exception) -> Response:
    assert isinstance(error, NotAllowed)
    return _say(request, f"This page is for the role {error.role} and above.", "ask an owner of the kitchen", 403)


async def _somebody_else(request: Request, error: Exception) -> Response:
    words = "This was entered while somebody else was signed in. Nothing was changed."
    if wants_json(request):  # no answer to the entry: it waits for its maker
        return JSONResponse({"error": words, "sign_in": True}, status_code=403)
    return _say(request, words, "let that person sign in again; the entry waits on this tablet", 403)


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    words = {404: "There is no such page.", 405: "This page cannot be asked for in this way."}
    return _say(request, words.get(error.status_code, "The bench cannot read this."), "", error.status_code)


async def _validation(request: Request, error: Exception) -> Response:
    return _say(request, "The bench cannot read this address.", "", 422)


async def _ours(request: Request, error: Exception) -> Response:
    kept = typed(await _form(request)) if request.method == "POST" else []
    status = status_of(error)
    if status == 500:
        raise error  # the guard gives it a number and keeps the trace
    assert isinstance(error, TrackerError) or hasattr(error, "what")
    if not isinstance(error, NotNow):
        return _say(request, error.what, advice(error), status, kept)  # type: ignore[arg-type]
    if not hasattr(request.state, "who"):  # who stands here cannot be asked now either
        request.state.who = None
    newer = "start the bench with the newer Crumbwise" if isinstance(error, NewerTables) else "the same in a moment"
    answer = _say(request, error.what, f"{newer}; what was typed is kept here", status, kept)
    answer.headers["retry-after"] = "5"
    return answer


async def _form(request: Request) -> FormData:
    try:
        form = await request.form()
        await form.close()  # of its fields only the texts are shown again
        return form
    except HTTPException:
        return FormData()


def _say(
    request: Request, what: str, next_step: str, status: int, kept: list[tuple[str, str]] | None = None
) -> Response:
    if wants_json(request):
        return JSONResponse({"error": what, "next": next_step}, status_code=status)
    gone = status == 404 and request.method == "GET"  # it would lead to itself
    shown = [pair for pair in kept or [] if pair[0] not in (*HOW, *SECRET) and pair[1]]
    return page(request, "error.html", status=status, what=what, next_step=next_step, kept=shown, missing=gone)
