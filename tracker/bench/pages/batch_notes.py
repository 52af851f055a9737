"""What was noticed while a batch was written, for the page that shows it next?

Kept in memory only: a lot that is new, a clock that is off. The record does not need it.
"""

from __future__ import annotations

from fastapi import Request

from tracker.workflow.verdicts import BatchVerdict

NOTES_KEPT = 100  # batches


def remember(request: Request, verdict: BatchVerdict) -> None:
    """What needs a look is known only while the batch is written; the next page says it."""
    kept = _notes(request)
    kept[(verdict.product, verdict.batch)] = (*verdict.notices, *_withdrawn(verdict))
    while len(kept) > NOTES_KEPT:
        del kept[next(iter(kept))]


def remembered(request: Request, product: str, number: str) -> tuple[str, ...]:
    return _notes(request).get((product, number), ())


def _notes(request: Request) -> dict[tuple[str, str], tuple[str, ...]]:
    if not hasattr(request.app.state, "batch_notes"):
        request.app.state.batch_notes = {}
    found: dict[tuple[str, str], tuple[str, ...]] = request.app.state.batch_notes
    return found


def _withdrawn(verdict: BatchVerdict) -> tuple[str, ...]:
    gone = verdict.changes.withdrawn
    return (f"Withdrawn, since their ground is gone: {', '.join(map(str, gone))}.",) if gone else ()
