"""What does every page of the bench need?

``needs("baker")`` says who may come in, ``page(...)`` renders a template, ``form_of`` reads
what was typed, ``keep(...)`` does a deed once and answers with where to go next. A page is a
module in ``tracker.bench.pages`` with a ``router``; it stands in ``pages.PAGES``.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from secrets import token_urlsafe
from typing import Any, TypeVar
from urllib.parse import urlencode
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from anyio import to_thread
from fastapi import Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.datastructures import FormData, UploadFile
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from tracker.bench.known import Known, Stands
from tracker.bench.settings import BenchSettings
from tracker.errors import Full, NotNow, TrackerError
from tracker.workflow.accounts import AccountLine, account_in
from tracker.workflow.kitchens import Store
from tracker.workflow.once import Kept, do_once, head_in
from tracker.workflow.signed_in import saw, standing_in
from tracker.workflow.tasting_passes import taster_at

T = TypeVar("T")
HERE = Path(__file__).parent
PERSON, TABLET = "crumbwise_person", "crumbwise_tablet"
FIELDS = 400  # more fields than any form of ours has
STATUS = {2: 400, 3: 422, 4: 404, 5: 409, 7: 422}  # exit code -> status
HOW = ("key", "by", "sent")  # fields of a form that say how it is sent, not what is entered


SECRET = ("pin", "old_pin", "code")  # never written anywhere, not even as part of the hash of an entry


class NotSignedIn(Exception):
    """Nobody is signed in here; what was typed is carried along to the page that asks."""


class NotAllowed(Exception):
    """This role does not open this page."""

    def __init__(self, role: str) -> None:
        self.role = role


class SomebodyElse(Exception):
    """The form was filled in by another person than the one signed in now."""


@dataclass(frozen=True)
class Needs:
    """A dependency of a route: the account that is signed in, if its role reaches ``role``."""

    role: str

    async def __call__(self, request: Request) -> AccountLine:
        known: Known = request.app.state.known
        stands, count = known.look(request.cookies.get(PERSON, ""))
        if stands is not None:
            request.state.who, request.state.record = stands.who, stands.record
            who: AccountLine | None = stands.who
        else:  # a few at a time: what forty threads ask at once they ask more slowly than four
            who = await to_thread.run_sync(signed_in, request, count, limiter=request.app.state.doormen)
        if who is None:
            raise NotSignedIn
        if not who.may(self.role):
            raise NotAllowed(self.role)
        return who


def needs(role: str) -> Needs:
    """``who: Annotated[AccountLine, Depends(needs("baker"))]``."""
    return Needs(role)


def store_of(request: Request) -> Store:
    store: Store = request.app.state.store
    return store


def settings_of(request: Request) -> BenchSettings:
    settings: BenchSettings = request.app.state.settings
    return settings


def signed_in(request: Request, count: int | None = None) -> AccountLine | None:
    """Who stands at this tablet; looked up once for each request. ``count``: see ``Known``."""
    if not hasattr(request.state, "who"):
        request.state.who = standing_here(store_of(request), request, count)
    who: AccountLine | None = request.state.who
    return who


def standing_here(store: Store, request: Request, count: int | None = None) -> AccountLine | None:
    """In one look at the record, which also says whether anything was entered since the last (``remembered``)."""
    secret = request.cookies.get(PERSON, "")
    with store.ask() as connection:
        found = standing_in(connection, "person", secret, store.now())
        account = account_in(connection, found.person) if found and found.person else None
        if store.joined is None:  # whoever enters something shows no page
            request.state.record = head_in(connection)
    if found is None:
        return taster_at(store, secret)
    if found.due:
        saw(store, secret)
    elif account is not None and store.joined is None:
        known: Known = request.app.state.known
        known.keep(secret, Stands(who=account, record=request.state.record, until=found.until), count)
    return account


async def form_of(request: Request) -> AsyncIterator[FormData]:
    """A dependency: what was typed. Use ``text(form, "name")`` to read it; files are gone with the answer."""
    form = await request.form(max_fields=FIELDS, max_files=4)
    try:
        yield form
    finally:
        await form.close()


def text(form: FormData, name: str, default: str = "") -> str:
    """One field as text without spaces around it."""
    value = form.get(name, default)
    return value.strip() if isinstance(value, str) else default


def typed(form: FormData) -> list[tuple[str, str]]:
    """Every field of text, in order."""
    return [(name, value) for name, value in form.multi_items() if not isinstance(value, UploadFile)]


def new_key() -> str:
    """The key of an entry, for a form without scripts."""
    return token_urlsafe(16)


def page(request: Request, template: str, *, status: int = 200, **values: Any) -> HTMLResponse:
    """Render ``templates/<template>`` with ``values`` and what every page has."""
    who = signed_in(request)
    environment: Environment = request.app.state.templates
    common = {
        "who": who,
        "menu": _menu(who),
        "path": request.url.path,
        "new_key": new_key,
        "said": None,
        "zone": zone_of(request),
        "now_ms": int(store_of(request).now().timestamp() * 1000),
        "saved_at": request.query_params.get("saved", "")[:5],
    }
    rendered = environment.get_template(template).render(common | values)
    return HTMLResponse(rendered, status_code=status)


def keep(
    request: Request,
    who: AccountLine,
    form: FormData,
    deed: Callable[[Store], T],
    *,
    then: str | Callable[[T | None], str],
) -> Response:
    """Do ``deed`` once for the key of the form, then show ``then`` (or say so as JSON to a script).

    Errors of the record go up to the page that says them; nothing was stored then.
    """
    kept = once(request, who, form, deed)
    return kept_page(request, kept, then if isinstance(then, str) else then(kept.result))


def once(request: Request, who: AccountLine, form: FormData, deed: Callable[[Store], T]) -> Kept[T]:
    """Do ``deed`` once for the key of the form, for a page that shows the result itself."""
    kept: Kept[T] = request.app.state.writer.do(entry(request, who, form, deed))
    return kept


def entry(request: Request, who: AccountLine, form: FormData, deed: Callable[[Store], T]) -> Callable[[Store], Kept[T]]:
    """The deed as the writer takes it, with its key. Raises SomebodyElse."""
    by, key = text(form, "by"), text(form, "key")
    if by and by != str(who.person):
        raise SomebodyElse
    payload = [("path", request.url.path), *(pair for pair in typed(form) if pair[0] not in (*HOW, *SECRET))]
    return lambda store: do_once(store, key, payload, who.person, deed)


def kept_page(request: Request, kept: Kept[T], where: str) -> Response:
    at = clock(kept.at, zone_of(request))
    if wants_json(request):
        return JSONResponse({"saved": at, "again": kept.again, "next": where})
    path, _, anchor = where.partition("#")
    query = urlencode({"saved": at})
    joined = f"{path}{'&' if '?' in path else '?'}{query}" + (f"#{anchor}" if anchor else "")
    return RedirectResponse(joined, status_code=303)


def wants_json(request: Request) -> bool:
    """Was this sent by our script from its queue?"""
    return request.headers.get("accept", "").startswith("application/json")


def clock(stamp: str, zone: ZoneInfo) -> str:
    """ "10:42" of an RFC 3339 moment, in the kitchen's own time."""
    try:
        return datetime.fromisoformat(stamp).astimezone(zone).strftime("%H:%M")
    except ValueError:
        return stamp


def zone_of(request: Request) -> ZoneInfo:
    try:
        return ZoneInfo(request.app.state.kitchen_zone)
    except (ZoneInfoNotFoundError, ValueError):
        return ZoneInfo("UTC")


def advice(error: TrackerError) -> str:
    """What to do next, unless the words are those of the command line."""
    words = str(getattr(error, "try_this", ""))
    return "" if "crumbwise " in words or "--" in words else words


def status_of(error: Exception) -> int:
    """5xx where nothing is wrong with the entry: a tablet keeps it and sends it again."""
    if isinstance(error, NotNow):
        return 507 if isinstance(error, Full) else 503
    return STATUS.get(int(getattr(error, "exit_code", 1)), 500)


def environment() -> Environment:
    """Templates with every text escaped; a name that is missing is an error, not an empty place."""
    made = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        auto_reload=False,  # nobody changes them while they are served
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["clock"] = clock
    return made


def _menu(who: AccountLine | None) -> Sequence[tuple[str, str]]:
    from tracker.bench.pages import MENU

    if who is None:
        return []
    # Who bakes knows which sample is which: tasting is for everybody else.
    hidden = "/taste" if who.may("baker") else ""
    return [(path, label) for path, label, role in MENU if who.may(role) and path != hidden]
