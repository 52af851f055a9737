"""Fifty tablets that send as fast as they are answered: what does each of them wait?

Reads a JSON object from standard input, ``{"port": 8030, "clients": [[request, …], …]}`` with whole HTTP requests as
text, and writes ``{"seconds": […], "statuses": {…}, "odd": […]}``. A process of its own with bare sockets, so that
it costs the server it measures as little as can be; each client keeps its connection.
"""

from __future__ import annotations

import asyncio
import json
import sys
import time
from collections import Counter


class Tablet(asyncio.Protocol):
    """One connection; ``ask`` sends a request and gives (status, body)."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport
        self.got = b""

    def ask(self, request: bytes) -> asyncio.Future[tuple[int, bytes]]:
        self.answer: asyncio.Future[tuple[int, bytes]] = asyncio.get_running_loop().create_future()
        self.transport.write(request)
        return self.answer

    def data_received(self, data: bytes) -> None:
        self.got += data
        head, blank, body = self.got.partition(b"\r\n\r\n")
        if not blank:
            return
        length = int(head.lower().partition(b"content-length: ")[2].split(b"\r\n", 1)[0])
        if len(body) >= length:
            self.got = b""
            self.answer.set_result((int(head[9:12]), body))

    def connection_lost(self, error: Exception | None) -> None:
        if hasattr(self, "answer") and not self.answer.done():
            self.answer.set_result((0, b"the connection was closed"))


async def one(port: int, requests: list[str], seconds: list[float], answers: list[tuple[int, bytes]]) -> None:
    _, tablet = await asyncio.get_running_loop().create_connection(Tablet, "127.0.0.1", port)
    for request in requests:
        begun = time.perf_counter()
        answers.append(await tablet.ask(request.encode()))
        seconds.append(time.perf_counter() - begun)
    tablet.transport.close()


async def main() -> None:
    told = json.load(sys.stdin)
    seconds: list[float] = []
    answers: list[tuple[int, bytes]] = []
    begun = time.perf_counter()
    await asyncio.gather(*(one(told["port"], requests, seconds, answers) for requests in told["clients"]))
    taken = time.perf_counter() - begun
    odd = [body.decode(errors="replace")[:300] for status, body in answers if status >= 300 or status == 0]
    statuses = Counter(str(status) for status, _ in answers)
    json.dump({"seconds": seconds, "taken": taken, "statuses": statuses, "odd": odd[:5]}, sys.stdout)


if __name__ == "__main__":
    asyncio.run(main())
