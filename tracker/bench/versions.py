"""Is this still the kitchen that the bench began to serve?

A newer Crumbwise that opens the kitchen meanwhile changes its tables. From then on this bench
says so on every page and writes nothing; the tablets keep what is typed until it was started anew.
"""

from __future__ import annotations

import time

from fastapi import Request
from starlette.concurrency import run_in_threadpool

from tracker.bench.kit import store_of
from tracker.workflow.kitchens import Store, require_known_tables

LOOKED_AT = 2.0  # seconds between two looks; every write looks for itself


async def same_kitchen(request: Request) -> None:
    """A dependency of every route. Raises NewerTables."""
    state, now = request.app.state, time.monotonic()
    if now - getattr(state, "tables_seen", -LOOKED_AT) < LOOKED_AT:
        return
    store: Store = store_of(request)
    await run_in_threadpool(require_known_tables, store)
    state.tables_seen = now
