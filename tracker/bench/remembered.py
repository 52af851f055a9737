"""What was computed for a page, and does it still hold?

What the record says changes only with an entry of its audit chain: what was computed is kept beside the last entry it
was computed under, and computed again under a later one. Only for what follows from the record alone, without the
clock and without sessions or PINs, which change without an entry.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any, TypeVar

from fastapi import Request

from tracker.bench.kit import store_of
from tracker.workflow.results_pages import state_of_record

T = TypeVar("T")
MOST = 100  # values that stay in memory


class Memory:
    """Values by what they are about, the one asked for longest ago first."""

    def __init__(self) -> None:
        self._values: OrderedDict[Hashable, tuple[str, Any]] = OrderedDict()
        self._lock = Lock()

    def get(self, about: Hashable, state: str, make: Callable[[], T]) -> T:
        with self._lock:
            had = self._values.get(about)
            if had is not None and had[0] == state:
                self._values.move_to_end(about)
                kept: T = had[1]
                return kept
        made = make()  # it may see a later state, never an earlier one
        with self._lock:
            self._values[about] = state, made
            self._values.move_to_end(about)
            while len(self._values) > MOST:
                self._values.popitem(last=False)
        return made


def remembered(request: Request, about: Hashable, make: Callable[[], T]) -> T:
    """``make()``, or what it gave before if nothing was entered since; errors are not kept."""
    memory: Memory = request.app.state.memory
    return memory.get(about, record_seen(request), make)


def record_seen(request: Request) -> str:
    """The last entry of the record when this request came in: looked up with whoever is signed in, once."""
    if not hasattr(request.state, "record"):
        request.state.record = state_of_record(store_of(request))
    seen: str = request.state.record
    return seen
