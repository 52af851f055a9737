"""How does a page answer at once where a plan may take seconds to work out?

A search for a design goes on beside the pages, one at a time, while the page that asked says so
and asks again. What was worked out is kept for a while, refusals too.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from threading import Lock
from typing import Any, TypeVar

from fastapi import Request

from tracker.bench.failing import OURS

T = TypeVar("T")
KEPT = 60
PATIENCE_S = 4.0


class Workshop:
    """One thread that works plans out, so that readings of other tablets are never held up by several at once."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="plans")
        self._kept: OrderedDict[Hashable, Future[Any]] = OrderedDict()
        self._lock = Lock()

    def ask(self, what: Hashable, make: Callable[[], T], *, patience: float | None = None) -> T | None:
        """What ``make`` gives, or None while it is being worked out. Raises what ``make`` raised."""
        with self._lock:
            job = self._kept.get(what)
            if job is None:
                job = self._pool.submit(make)
                self._kept[what] = job
            self._kept.move_to_end(what)
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)[1].cancel()
        try:
            done: T = job.result(timeout=PATIENCE_S if patience is None else patience)
            return done
        except NotYet:
            return None
        except Exception as error:
            if not isinstance(error, OURS):  # what nobody foresaw may go better the next time
                with self._lock:
                    self._kept.pop(what, None)
            raise

    def know(self, what: Hashable, result: object) -> None:
        """Keep something under another name."""
        done: Future[Any] = Future()
        done.set_result(result)
        with self._lock:
            self._kept[what] = done

    def known(self, what: Hashable) -> Any:
        """What was worked out, or None."""
        with self._lock:
            job = self._kept.get(what)
        return job.result() if job is not None and job.done() and job.exception() is None else None


def workshop(request: Request) -> Workshop:
    """The one of this bench."""
    state = request.app.state
    if not hasattr(state, "workshop"):
        state.workshop = Workshop()
    found: Workshop = state.workshop
    return found
