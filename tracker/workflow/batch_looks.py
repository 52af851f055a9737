"""What about a logged batch needs a look? Read from the record alone, so that any page says it at any time.

A lot that came in with it, a time before batches that were entered earlier, alarms that a correction took away.
"""

from __future__ import annotations

from datetime import datetime

from sqlmodel import Session, col, select

from tracker.current_batches import CurrentBatch, current_batch, current_batches, find_batch, find_product
from tracker.intake.spreadsheet import nearest
from tracker.log_models import AlarmAnswer, AlarmEntry, BatchLotChange
from tracker.models import BatchLot, Lot, Product
from tracker.store import Store
from tracker.workflow.batch_notices import AHEAD

NEAR = 10  # batches behind it in time that are looked at


def looks_at(store: Store, product: str, number: str) -> tuple[str, ...]:
    """Sentences for a page. Raises NotFound."""
    with store.read() as session:
        its = find_product(session, product)
        batch = current_batch(session, find_batch(session, its, number))
        if batch.void:
            return ()
        said = [*_new_lots(session, batch), *_clock(session, its, batch)]
        said += (
            [f"{batch.baked_at} lies ahead of this kitchen's clock: is the time right?"]
            if lies_ahead(store, batch.baked_at)
            else []
        )
        return (*said, *_withdrawn(session, its, batch))


def lies_ahead(store: Store, baked_at: str) -> bool:
    """Whether a moment (RFC 3339) has not come yet, by the kitchen's clock."""
    return datetime.fromisoformat(baked_at) > store.now() + AHEAD


def _new_lots(session: Session, batch: CurrentBatch) -> list[str]:
    said = []
    for ingredient, lot in batch.lots.items():
        rows = session.exec(select(Lot).where(Lot.ingredient == ingredient)).all()
        own = next((row.id for row in rows if row.code == lot.code), None)
        known = lot.age_days(batch.baked_at) is not None  # somebody told when it came in
        if own is None or known or _used_before(session, own, batch.id):
            continue
        near = nearest(lot.code, [row.code for row in rows if row.id != own])
        like = f" The nearest known is {near}." if near else ""
        said.append(f"Lot {lot.code} of {ingredient} came in with this batch.{like} Is it written right?")
    return said


def _used_before(session: Session, lot: int, batch: int) -> bool:
    for table in (BatchLot, BatchLotChange):
        if session.exec(select(table.id).where(table.lot_id == lot, col(table.batch_id) < batch).limit(1)).first():
            return True
    return False


def _clock(session: Session, product: Product, batch: CurrentBatch) -> list[str]:
    behind = current_batches(session, product, after=batch.place, first=NEAR)
    earlier = next((each for each in behind if each.id < batch.id), None)
    if earlier is None:
        return []
    return [
        f"The clock goes back: batch {earlier.number} was entered before it and baked later, at {earlier.baked_at}. "
        f"Batch {batch.number} takes its place before it; is the time right?"
    ]


def _withdrawn(session: Session, product: Product, batch: CurrentBatch) -> list[str]:
    """``correct_batch`` gives this reason to the alarms whose ground a correction took away."""
    asked = (
        select(AlarmEntry.number)
        .join(AlarmAnswer, col(AlarmAnswer.alarm_id) == AlarmEntry.id)
        .where(AlarmEntry.product_id == product.id, AlarmAnswer.state == "withdrawn")
        .where(AlarmAnswer.reason == f"batch {batch.number} was corrected")
    )
    gone = sorted(set(session.exec(asked)))
    return [f"Withdrawn, since their ground is gone: {', '.join(map(str, gone))}."] if gone else []
