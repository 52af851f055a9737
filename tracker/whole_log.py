"""What was read of one response over the whole log of a product, batch by batch?

The same as ``current_batches`` tells, in two queries however long the log is: for charts of all of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from sqlalchemy import Table, func, select
from sqlmodel import Session, SQLModel

from tracker.current import rows_of
from tracker.current_batches import Place, moved_batches
from tracker.models import Bake, Batch, Piece, Product, Reading, ReadingSize

FEW = 500  # more numbers than these are looked up in the whole log, which is quicker than naming each to the database


class LoggedBatch(NamedTuple):
    """A standing batch; its readings of the response in order of pieces, repeats and entry.

    ``sizes`` are what counts were taken out of (None where nothing says).
    """

    id: int
    number: str
    baked_at: str
    values: tuple[float, ...]
    sizes: tuple[float | None, ...]

    @property
    def place(self) -> Place:
        return (self.baked_at, self.id)


def read_log(session: Session, product: Product, response: str) -> list[LoggedBatch]:
    """Every standing batch in order of baking, read for the response or not."""
    moved = moved_batches(session, product)
    readings = _readings(session, product, response)
    found = []
    batch = _table(Batch).c
    rows = select(batch.id, batch.number, batch.baked_at).where(batch.product_id == product.id)
    for row, number, baked_at in session.connection().execute(rows).all():
        _, at, gone = moved.get(row, (None, baked_at, False))
        if not gone:
            values, sizes = readings.get(row, ((), ()))
            found.append(LoggedBatch(row, number, at, tuple(values), tuple(sizes)))
    return sorted(found, key=lambda each: each.place)


def _readings(session: Session, product: Product, response: str) -> dict[int, tuple[list[float], list[float | None]]]:
    """Row of a batch -> values and sizes of its standing readings."""
    batch, bake, piece, reading, size = (_table(of) for of in (Batch, Bake, Piece, Reading, ReadingSize))
    later = reading.alias("later")
    rows = (
        select(batch.c.id, reading.c.value, size.c.size)
        .select_from(batch)
        .join(bake, bake.c.batch_id == batch.c.id)
        .join(reading, reading.c.bake_id == bake.c.id)
        .outerjoin(piece, piece.c.id == reading.c.piece_id)
        .outerjoin(size, size.c.reading_id == reading.c.id)
        .where(batch.c.product_id == product.id, reading.c.response == response, ~reading.c.void)
        .where(~select(later.c.id).where(later.c.replaces_id == reading.c.id).exists())
        .order_by(batch.c.id, func.coalesce(piece.c.number, 0), reading.c.repeat, reading.c.id)
    )
    found: dict[int, tuple[list[float], list[float | None]]] = {}
    for row, value, out_of in session.connection().execute(rows).all():
        values, sizes = found.setdefault(row, ([], []))
        values.append(value)
        sizes.append(out_of)
    return found


def batches_numbered(session: Session, product: Product, numbers: Sequence[str]) -> list[Batch]:
    """The rows of the batches with these numbers, taken back or not, in order of entry."""
    batch = _table(Batch).c
    known = select(batch.id, batch.number).where(batch.product_id == product.id)
    if len(numbers) <= FEW:
        known = known.where(batch.number.in_(numbers))
    wanted = set(numbers)
    found = [row for row, number in session.connection().execute(known).all() if number in wanted]
    return rows_of(session, Batch, Batch.id, found)


def _table(of: type[SQLModel]) -> Table:
    return of.__table__  # type: ignore[attr-defined]
