"""Who may hold a connection, and for how long without asking for anything?

A connection that says nothing, or drips a request without end, costs its sender nothing and the
bench one of its places. It is closed after a while; when places run short the longest silent ones
go first, of the address that holds most. A request that arrived whole is never cut.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # either of the server's protocols will do: the mixin uses what both have
    from uvicorn.protocols.http.h11_impl import H11Protocol as Served
else:
    Served = object

END = b"\r\n\r\n"
FILES = 4096  # as many as are asked for
OTHERS = 120  # database, journal and lock of up to forty readers
TOO_LONG = b"HTTP/1.1 431 Request Header Fields Too Large\r\ncontent-length: 0\r\nconnection: close\r\n\r\n"


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Browsers open six connections to a host, some eight: 50 tablets behind one router are 400."""

    held: int = 480  # in all
    of_one_address: int = 400
    head_within: float = 15.0  # seconds from its first byte, or from opening, to the end of a request's head
    rest_within: float = 60.0  # seconds for what still comes of a body that was answered already
    taken_within: float = 300.0  # seconds for an answer to leave; 15 MB over half a megabit a second
    head_bytes: int = 64 * 1024

    @classmethod
    def within(cls, files: int) -> Limits:
        """Where the system allows few open files, some of them are left for the kitchen and the pages."""
        held = max(20, min(cls.held, files - OTHERS))
        return cls(held=held, of_one_address=min(cls.of_one_address, held * cls.of_one_address // cls.held))


class Patient(Served):
    """A mixin over the server's protocol, with limits and everybody that is connected (one set for each server)."""

    limits: Limits
    everybody: set[Patient]
    address = ""
    since = 0.0  # loop time from which it has been silent
    _head = b""  # what came of a request's head that is not whole
    _timer: asyncio.TimerHandle | None = None
    _seconds: float | None = None  # of the timer

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)  # type: ignore[arg-type]
        self.address, self.since = str((self.client or ("",))[0]), self.loop.time()
        if self._has_place():
            self.everybody.add(self)
            self._watch()
        else:
            self.transport.abort()

    def connection_lost(self, exc: Exception | None) -> None:
        self._set_timer(None)
        self.everybody.discard(self)
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        if self._awaits_head() and self._is_too_long(data):
            self.transport.write(TOO_LONG)
            self.transport.close()
            return
        super().data_received(data)
        self._head = self._head + data if self._awaits_head() and self._is_quiet() else b""
        self._watch()

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self.since = self.loop.time()
        self._watch()

    def pause_writing(self) -> None:
        super().pause_writing()
        self._watch()

    def resume_writing(self) -> None:
        super().resume_writing()
        self._watch()

    def is_silent(self) -> bool:
        """No request is being sent or answered, and nobody waits for the rest of an answer."""
        return self._is_quiet() and self._awaits_head() and not self.transport.get_write_buffer_size()

    def _is_quiet(self) -> bool:
        return self.cycle is None or self.cycle.response_complete

    def _awaits_head(self) -> bool:
        raise NotImplementedError

    def _is_too_long(self, data: bytes) -> bool:
        """The parsers look at what is not whole, and one of them not even at that."""
        if len(self._head) + len(data) <= self.limits.head_bytes:
            return False
        return not 0 <= (self._head + data).find(END) <= self.limits.head_bytes

    def _watch(self) -> None:
        if not self._is_quiet():
            self._set_timer(self.limits.taken_within if self.flow.write_paused else None)
        elif not self._awaits_head():
            self._set_timer(self.limits.rest_within)
        else:  # between two requests the server has a shorter limit of its own, but waits for what has not left
            waits = self.cycle is None or self._head
            self._set_timer(self.limits.head_within if waits else self.limits.taken_within)

    def _set_timer(self, seconds: float | None) -> None:
        """Nothing is set anew while the same is waited for: a byte now and then wins no time."""
        if seconds == self._seconds:
            return
        if self._timer is not None:
            self._timer.cancel()
        self._timer = None if seconds is None else self.loop.call_later(seconds, self.transport.abort)
        self._seconds = seconds

    def _has_place(self) -> bool:
        """Make room where it is short; no room can be made where all are being answered."""
        mine = [each for each in self.everybody if each.address == self.address]
        if len(mine) >= self.limits.of_one_address:
            return _drop_one(mine)
        if len(self.everybody) >= self.limits.held:
            return _drop_one(list(self.everybody))
        return True


def _drop_one(among: list[Patient]) -> bool:
    silent = [each for each in among if each.is_silent()]
    if not silent:
        return False
    held = Counter(each.address for each in silent)
    # A tablet between two requests has asked before: it goes last.
    longest = min(silent, key=lambda each: (-held[each.address], each.cycle is not None, each.since))
    longest.everybody.discard(longest)
    longest.transport.abort()
    return True


def patient(http: str = "h11", bounds: Limits | None = None) -> type[asyncio.Protocol]:
    """The server's protocol "h11" or "httptools" with limits, for one server."""
    if http == "h11":
        import h11
        from uvicorn.protocols.http.h11_impl import H11Protocol

        class OverH11(Patient, H11Protocol):
            limits, everybody = bounds or Limits(), set()

            def _awaits_head(self) -> bool:
                return self.conn.their_state is h11.IDLE

        return OverH11
    from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

    class OverHttpTools(Patient, HttpToolsProtocol):  # type: ignore[misc]  # both have what the mixin asks for
        limits, everybody = bounds or Limits(), set()
        _in_body = False

        def on_headers_complete(self) -> None:
            super().on_headers_complete()
            self._in_body = True

        def on_message_complete(self) -> None:
            super().on_message_complete()
            self._in_body = False

        def _awaits_head(self) -> bool:
            return not self._in_body

    return OverHttpTools


def hurry_handshakes(loop: asyncio.AbstractEventLoop, seconds: float = Limits.head_within) -> None:
    """Under https nobody is connected before the handshake is over, which a loop waits a minute for."""
    made = loop.create_server
    loop.create_server = partial(made, ssl_handshake_timeout=seconds)  # type: ignore[method-assign]


def allow_files() -> int:
    """How many files may be open, connections too: a system gives 256 or 1024, and more to who asks."""
    try:
        import resource
    except ImportError:  # Windows has no such limit
        return FILES
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft == resource.RLIM_INFINITY or soft >= FILES:
        return FILES
    most = FILES if hard == resource.RLIM_INFINITY else min(FILES, hard)
    resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))
    return most
