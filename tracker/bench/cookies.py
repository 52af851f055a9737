"""Under which names do cookies travel over https?

With the prefix ``__Host-``: a browser then takes such a cookie only from this very host, over
https and for all paths (RFC 6265bis, 4.1.3), so that nobody else in the network can plant one.
Over plain http browsers refuse the prefix; pages know the names without it.
"""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

PREFIX = "__Host-"


class HostCookies:
    """ASGI middleware for a bench that is served under https."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = [(name, _ours(value) if name == b"cookie" else value) for name, value in scope["headers"]]

        async def with_prefix(message: Message) -> None:
            if message["type"] == "http.response.start":
                answer = MutableHeaders(raw=message.get("headers", []))
                cookies = answer.getlist("set-cookie")
                del answer["set-cookie"]
                for cookie in cookies:
                    answer.append("set-cookie", _for_this_host(cookie))
                message = {**message, "headers": answer.raw}
            await send(message)

        await self.app({**scope, "headers": headers}, receive, with_prefix)


def _ours(cookies: bytes) -> bytes:
    """Those with the prefix, without it; one without was planted."""
    pairs = [pair.strip() for pair in cookies.decode("latin-1").split(";")]
    return "; ".join(pair.removeprefix(PREFIX) for pair in pairs if pair.startswith(PREFIX)).encode("latin-1")


def _for_this_host(cookie: str) -> str:
    secure = any(part.strip().lower() == "secure" for part in cookie.split(";"))
    return PREFIX + cookie + ("" if secure else "; Secure")
