"""How do the entries of many tablets come in at once?

Fifty tablets may send a reading in the same moment. Such a route asks nothing of a thread: who stands there is looked
up by the writer within the transaction of the entry, and whoever waits is answered when the disk has it. What a
framework works out anew for each request (which values a function wants) is worked out once.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar
from urllib.parse import parse_qsl

from fastapi import Request
from fastapi.routing import APIRoute
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.responses import Response

from tracker.bench.kit import FIELDS, PERSON, Needs, NotAllowed, NotSignedIn, entry, kept_page, standing_here
from tracker.workflow.accounts import AccountLine
from tracker.workflow.kitchens import Store
from tracker.workflow.once import Kept

T = TypeVar("T")
PLAIN_FORM = "application/x-www-form-urlencoded"


class NeedsInside(Needs):
    """A dependency: who is signed in is asked by the writer, which costs a tenth of asking by itself."""

    async def __call__(self, request: Request) -> NeedsInside:  # type: ignore[override]
        if not request.cookies.get(PERSON):
            raise NotSignedIn
        return self

    def who(self, store: Store, request: Request) -> AccountLine:
        found = request.state.who = standing_here(store, request)  # a page that says what is wrong asks no more
        if found is None:
            raise NotSignedIn
        if not found.may(self.role):
            raise NotAllowed(self.role)
        return found


class EntryRoute(APIRoute):
    """A route whose function takes the request, a ``NeedsInside``, the form and the parts of the path, as texts.

    It does not look whether a newer Crumbwise came to the kitchen: the writer does, at each entry.
    """

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        (need,) = [part.call for part in self.dependant.dependencies if isinstance(part.call, NeedsInside)]
        enter = self.endpoint

        async def entered(request: Request) -> Response:
            await need(request)
            form = await read_form(request)
            try:
                answer: Response = await enter(request, need, form, **request.path_params)
                return answer
            finally:
                await form.close()

        return entered


async def read_form(request: Request) -> FormData:
    """What was typed; a plain form is read in one piece. Raises HTTPException for one with too many fields."""
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != PLAIN_FORM:
        return await request.form(max_fields=FIELDS, max_files=4)
    body = (await request.body()).decode("latin-1")  # as browsers escape them, bytes beyond ASCII are %-signs
    try:
        return FormData([*parse_qsl(body, keep_blank_values=True, max_num_fields=FIELDS)])
    except ValueError:
        raise HTTPException(status_code=400) from None


async def keep_soon(
    request: Request, need: NeedsInside, form: FormData, deed: Callable[[Store, AccountLine], T], *, then: str
) -> Response:
    """``kit.keep`` for such a route: no thread waits for the disk, which halves what many entries at once cost."""

    def entered(store: Store) -> Kept[T]:
        who = need.who(store, request)
        return entry(request, who, form, lambda inner: deed(inner, who))(store)

    kept: Kept[T] = await request.app.state.writer.send_soon(entered, asyncio.get_running_loop())
    return kept_page(request, kept, then)
