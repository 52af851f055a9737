"""Does this request come from one of our own pages, and is it of a size we take?

The outermost layer. It refuses unknown hosts before anything else is read, lets a change
through only from our own origin, cuts bodies that are too large, and puts the same headers on
every answer, those of errors too. What nobody foresaw ends here as one sentence with a number.
"""

from __future__ import annotations

import logging
from asyncio import get_running_loop, timeout, timeout_at
from contextlib import suppress
from secrets import token_hex
from typing import Any

from starlette.datastructures import Headers
from starlette.requests import ClientDisconnect
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tracker.bench.settings import BenchSettings

log = logging.getLogger("crumbwise.bench")

# "same-origin" and not "no-referrer": under the latter a browser sends "Origin: null" with a form (Fetch standard,
# request's Origin header), and over plain http, where there is no Sec-Fetch-Site either, no form could be told from a
# stranger's. Nothing leaves for other sites in either case.
HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "x-frame-options": "DENY",
}
RAW_HEADERS = tuple((name.encode(), value.encode()) for name, value in HEADERS.items())
SAFE = ("GET", "HEAD")
TAKEN = (*SAFE, "POST")
BODIES = ("application/x-www-form-urlencoded", "multipart/form-data")
UPLOADS = "/upload"  # paths that end so take larger bodies
DRAINS_FOR = 60.0  # seconds
ARRIVES_WITHIN = 300.0  # seconds for all of a body; 15 MB over half a megabit a second
PHOTOS = "/photo/"  # and those that begin so


class _TooLarge(Exception):
    """``more``: it has not all arrived yet."""

    def __init__(self, *, more: bool) -> None:
        self.more = more


class _TooSlow(Exception):
    """Whoever sends a byte now and then would hold a place for ever."""


class Guard:
    """ASGI middleware; see the module's first lines."""

    def __init__(self, app: ASGIApp, settings: BenchSettings) -> None:
        self.app, self.settings = app, settings
        usual = ":443" if settings.tls else ":80"  # which a browser leaves out
        self.hosts = frozenset(
            name for host in settings.hosts for name in (host.lower(), host.lower().removesuffix(usual))
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return  # no web sockets
        began = False

        async def with_headers(message: Message) -> None:
            nonlocal began
            if message["type"] == "http.response.start":
                began = True
                _put_headers(message, scope)
            await send(message)

        refused = self._refusal(scope)
        if refused is not None and refused[0] == 413:
            await self._say_too_large(scope, receive, with_headers)
            return
        if refused is not None:
            await PlainTextResponse(refused[1], status_code=refused[0])(scope, receive, with_headers)
            return
        try:
            await self.app(scope, self._counted(scope, receive), with_headers)
        except _TooLarge as cut:
            if not began:
                await self._say_too_large(scope, receive, with_headers, more=cut.more)
        except _TooSlow:
            if not began:
                await PlainTextResponse(TOO_SLOW, status_code=408)(scope, receive, with_headers)
        except ClientDisconnect:
            pass  # whoever sent half a form has gone: nobody is to be answered
        except Exception:
            number = token_hex(4)
            log.exception("error %s", number)
            if not began:
                await _unforeseen(number)(scope, receive, with_headers)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return 400, "This address is not one of the bench's own.\n"
        if scope["method"] not in TAKEN:
            return 405, "The bench is read with GET and changed with POST.\n"
        if scope["method"] == "POST":
            return self._foreign(headers, hosts[0]) or self._body(headers, scope["path"])
        return None

    def _foreign(self, headers: Headers, host: str) -> tuple[int, str] | None:
        """Fetch metadata where the browser sends them, else the origin; neither is nobody we know."""
        sites, origins = headers.getlist("sec-fetch-site"), headers.getlist("origin")
        if sites:
            ours = sites == ["same-origin"]
        else:
            ours = len(origins) == 1 and origins[0].lower() == f"{self.settings.scheme}://{host.lower()}"
        return None if ours else (403, "This form does not come from a page of the bench. Nothing was changed.\n")

    def _body(self, headers: Headers, path: str) -> tuple[int, str] | None:
        if headers.get("content-type", "").partition(";")[0].strip().lower() not in BODIES:
            return 415, "The bench takes forms only. Nothing was changed.\n"
        length = headers.get("content-length", "0")
        if not length.isascii() or not length.isdigit():
            return 400, "The length of the form is no number.\n"
        if len(length) > 15 or int(length) > self._most(path):
            return 413, ""
        return None

    def _most(self, path: str) -> int:
        if path.startswith(PHOTOS):
            return self.settings.photo_bytes
        return self.settings.upload_bytes if path.endswith(UPLOADS) else self.settings.body_bytes

    async def _say_too_large(self, scope: Scope, receive: Receive, send: Send, *, more: bool = True) -> None:
        """A browser that is still sending when it is answered shows a broken connection instead of the answer."""
        left = self.settings.drained_bytes
        with suppress(TimeoutError):
            async with timeout(DRAINS_FOR):
                while more and left > 0:
                    message = await receive()
                    left -= len(message.get("body", b""))
                    more = bool(message.get("more_body"))
        await _too_large(scope, self._most(scope["path"]))(scope, receive, send)

    def _counted(self, scope: Scope, receive: Receive) -> Receive:
        """A length may be missing or a lie: what really arrives is counted, and how long it takes."""
        most, so_far, whole = self._most(scope["path"]), 0, False
        until = get_running_loop().time() + ARRIVES_WITHIN

        async def counted() -> Message:
            nonlocal so_far, whole
            if whole:  # what comes now is that the client has gone
                return await receive()
            try:
                async with timeout_at(until):
                    message = await receive()
            except TimeoutError:
                raise _TooSlow from None
            whole = not message.get("more_body")
            so_far += len(message.get("body", b""))
            if so_far > most:
                raise _TooLarge(more=bool(message.get("more_body")))
            return message

        return counted


TOO_LARGE = "That is larger than the bench takes here, which is {:.0f} MB. Nothing was changed."
TOO_SLOW = "The form took too long to arrive. Nothing was changed.\n"
GO_BACK = "Go back with the arrow of the browser: what was typed is still there."
PAGE = (
    '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
    '<title>Too large</title><link rel="stylesheet" href="/static/bench.css"><main><h1>Too large</h1>'
    '<p class="wrong" role="alert">{}</p><p>{}</p></main></html>'
)


def _too_large(scope: Scope, most: int) -> Response:
    """A sentence on a page, or the same for our script; the page holds nothing that a stranger wrote."""
    words = TOO_LARGE.format(most / 1e6)
    if Headers(scope=scope).get("accept", "").startswith("application/json"):
        return JSONResponse({"error": words, "next": ""}, status_code=413)
    return HTMLResponse(PAGE.format(words, GO_BACK), status_code=413)


def _unforeseen(number: str) -> PlainTextResponse:
    words = f"Something went wrong that Crumbwise did not foresee. It is error {number} in the log of the bench.\n"
    return PlainTextResponse(words, status_code=500)


def _put_headers(message: Any, scope: Scope) -> None:
    path = scope["path"]
    ours = [*RAW_HEADERS, (b"cache-control", _kept_by_a_browser(path, message["status"]).encode())]
    if path.startswith(PHOTOS):
        ours.append((b"vary", b"cookie"))  # on a tablet that goes around, the next person asks anew
    names = {name for name, _ in ours}
    message["headers"] = [pair for pair in message.get("headers", ()) if pair[0] not in names] + ours


def _kept_by_a_browser(path: str, status: int) -> str:
    """What stands on a page may be somebody's name; style and scripts are the program's own; a photo never changes."""
    if path.startswith(PHOTOS) and status == 200:
        return "private, max-age=57600, immutable"  # a shift
    return "no-cache" if path.startswith("/static/") else "no-store"
