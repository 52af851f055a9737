"""How does an answer leave in one piece?

The server hands over the head of an answer and its body one after the other. Sent so, each is a call of the system and
a packet of its own; what is handed over in one step of the event loop leaves together.
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # as in ``connections``: either of the server's protocols
    from uvicorn.protocols.http.h11_impl import H11Protocol as Served
else:
    Served = object

AT_MOST = 64 * 1024  # bytes that are held back: what is larger leaves as it comes


class OnePiece:
    """A transport that holds writes back until the step of the loop is over; the rest is that of ``transport``."""

    def __init__(self, transport: asyncio.Transport, loop: asyncio.AbstractEventLoop) -> None:
        self._transport, self._loop = transport, loop
        self._held: list[bytes] = []
        self._bytes = 0

    def __getattr__(self, name: str) -> Any:
        return getattr(self._transport, name)

    def write(self, data: bytes) -> None:
        if not data:
            return
        if not self._held:
            self._loop.call_soon(self._leave)
        self._held.append(data)
        self._bytes += len(data)
        if self._bytes > AT_MOST:
            self._leave()

    def get_write_buffer_size(self) -> int:
        return self._bytes + self._transport.get_write_buffer_size()

    def close(self) -> None:
        self._leave()
        self._transport.close()

    def _leave(self) -> None:
        held, self._held, self._bytes = self._held, [], 0
        if held and not self._transport.is_closing():
            self._transport.write(held[0] if len(held) == 1 else b"".join(held))


class Gathered(Served):
    """A mixin over the server's protocol whose answers leave in one piece."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(OnePiece(transport, self.loop))  # type: ignore[arg-type]
