"""What stands of the batches of a product: corrected, and without what was taken back?

Any stretch of the log can be read by itself: the last few batches of a long log cost no
more than those of a short one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlmodel import Session, col, or_, select

from tracker.current import nearest_name, plain_rows_of, rows_of, standing
from tracker.errors import NotFound
from tracker.models import (
    Bake,
    Batch,
    BatchChange,
    BatchLot,
    BatchLotChange,
    Lot,
    LotDates,
    Piece,
    Product,
    Reading,
    ReadingSize,
)

Place = tuple[str, int]  # when it was baked (RFC 3339, UTC), and its row: the order of baking


@dataclass(frozen=True, kw_only=True)
class CurrentLot:
    """A lot and its dates as they stand (YYYY-MM-DD or None)."""

    id: int
    ingredient: str
    code: str
    received_on: str | None = None
    opened_on: str | None = None

    def age_days(self, at: str) -> int | None:
        """Days from its opening (else from its arrival) to ``at``; None when neither is known."""
        since = self.opened_on or self.received_on
        return None if since is None else (date.fromisoformat(at[:10]) - date.fromisoformat(since)).days


@dataclass(frozen=True, kw_only=True)
class CurrentReading:
    """One standing reading; ``size`` is what a count was taken out of."""

    id: int
    response: str
    piece: int | None
    repeat: int
    value: float
    size: float | None = None


@dataclass(frozen=True, kw_only=True)
class CurrentBatch:
    """One batch as it stands; readings in order of pieces, then repeats."""

    id: int
    bake_id: int | None
    number: str
    baked_at: str
    line: str
    oven: str
    shift: str
    void: bool = False
    lots: Mapping[str, CurrentLot] = field(default_factory=dict)
    readings: tuple[CurrentReading, ...] = ()

    @property
    def place(self) -> Place:
        return (self.baked_at, self.id)

    def values(self, response: str) -> tuple[float, ...]:
        return tuple(reading.value for reading in self.readings if reading.response == response)


def find_product(session: Session, name: str) -> Product:
    """The product of that name; raises NotFound with the nearest name."""
    product = session.exec(select(Product).where(Product.name == name)).first()
    if product is None:
        some = session.exec(select(Product.id)).first() is not None
        near = nearest_name(session, name, Product) if some else f'crumbwise batch product add "{name}"'
        raise NotFound(f'There is no product "{name}".', where="kitchen", try_this=near)
    return product


def find_batch(session: Session, product: Product, number: str) -> Batch:
    """The batch of that number, taken back or not; raises NotFound."""
    batch = session.exec(select(Batch).where(Batch.product_id == product.id, Batch.number == number)).first()
    if batch is None:
        raise NotFound(
            f'There is no batch {number} of "{product.name}".',
            where=f'product "{product.name}"',
            try_this=f'crumbwise batch list "{product.name}"',
        )
    return batch


def current_batches(
    session: Session,
    product: Product,
    *,
    before: Place | None = None,
    after: Place | None = None,
    last: int | None = None,
    first: int | None = None,
    void: bool = False,
) -> list[CurrentBatch]:
    """Standing batches in order of baking, strictly between ``after`` and ``before``.

    ``last`` (or ``first``) takes so many from the end (or the beginning); ``void`` gives those
    that were taken back as well.
    """
    moved = moved_batches(session, product)
    wanted = select(Batch).where(Batch.product_id == product.id)
    if moved:
        wanted = wanted.where(col(Batch.id).not_in(list(moved)))
    at, number = col(Batch.baked_at), col(Batch.id)
    if before is not None:
        wanted = wanted.where(at <= before[0], or_(at < before[0], number < before[1]))
    if after is not None:
        wanted = wanted.where(at >= after[0], or_(at > after[0], number > after[1]))
    wanted = wanted.order_by(at.desc(), number.desc()) if last is not None else wanted.order_by(at, number)
    most = last if last is not None else first
    found = list(session.exec(wanted if most is None else wanted.limit(most)))
    kept = {batch.id or 0: (batch.baked_at, batch.id or 0) for batch in found}
    rows = {batch.id or 0: batch for batch in found}
    for batch, baked_at, gone in moved.values():
        place = (baked_at, batch.id or 0)
        inside = (before is None or place < before) and (after is None or place > after)
        if inside and (void or not gone):
            kept[place[1]], rows[place[1]] = place, batch
    order = sorted(kept, key=lambda each: kept[each])
    order = order[-last:] if last is not None else order[:first] if first is not None else order
    return _filled(session, [rows[each] for each in order])


def current_batch(session: Session, batch: Batch) -> CurrentBatch:
    """One batch as it stands, taken back or not."""
    return _filled(session, [batch])[0]


def lots_as_they_stand(session: Session, numbers: Iterable[int] | None = None) -> dict[int, CurrentLot]:
    """Lots with their dates, all of them or these."""
    wanted = None if numbers is None else sorted(set(numbers))
    if wanted is None:
        lots, dates = list(session.exec(select(Lot).order_by(col(Lot.id)))), list(session.exec(select(LotDates)))
    else:
        lots, dates = rows_of(session, Lot, Lot.id, wanted), rows_of(session, LotDates, LotDates.lot_id, wanted)
    known = {row.lot_id: row for row in standing(dates)}
    return {lot.id or 0: _lot(lot, known.get(lot.id or 0)) for lot in lots}


def _lot(lot: Lot, dates: LotDates | None) -> CurrentLot:
    return CurrentLot(
        id=lot.id or 0,
        ingredient=lot.ingredient,
        code=lot.code,
        received_on=lot.received_on if dates is None else dates.received_on,
        opened_on=None if dates is None else dates.opened_on,
    )


def moved_batches(session: Session, product: Product) -> dict[int, tuple[Batch, str, bool]]:
    """Batches whose time was corrected or that were taken back: row, when they were baked, whether they are void."""
    rows = session.exec(
        select(BatchChange, Batch)
        .join(Batch, col(Batch.id) == BatchChange.batch_id)
        .where(Batch.product_id == product.id, col(BatchChange.detail).in_(("baked_at", "void")))
        .order_by(col(BatchChange.id))
    )
    moved: dict[int, tuple[Batch, str, bool]] = {}
    for change, batch in rows:
        _, at, gone = moved.get(change.batch_id, (batch, batch.baked_at, False))
        if change.detail == "void":
            gone = change.value == "yes"
        else:
            at = change.value
        moved[change.batch_id] = (batch, at, gone)
    return moved


def taken_back(session: Session, product: Product) -> int:
    """How many batches of a product count no longer."""
    return sum(gone for _, _, gone in moved_batches(session, product).values())


def _filled(session: Session, batches: Sequence[Batch]) -> list[CurrentBatch]:
    """These batches with their changes, lots and readings, in a fixed number of queries for each few hundred."""
    numbers = [batch.id for batch in batches]
    changes: dict[int, dict[str, str]] = {}
    for change in plain_rows_of(session, BatchChange, BatchChange.batch_id, list(numbers)):
        changes.setdefault(change.batch_id, {})[change.detail] = change.value
    lots = _lots(session, list(numbers))
    bakes = {bake.batch_id: bake.id for bake in plain_rows_of(session, Bake, Bake.batch_id, list(numbers))}
    readings = _readings(session, list(bakes.values()))
    return [
        CurrentBatch(
            id=batch.id or 0,
            bake_id=bakes.get(batch.id),
            number=batch.number,
            baked_at=changed.get("baked_at", batch.baked_at),
            line=changed.get("line", batch.line),
            oven=changed.get("oven", batch.oven),
            shift=changed.get("shift", batch.shift),
            void=changed.get("void") == "yes",
            lots=lots.get(batch.id or 0, {}),
            readings=tuple(readings.get(bakes.get(batch.id) or 0, [])),
        )
        for batch in batches
        for changed in (changes.get(batch.id or 0, {}),)
    ]


def _lots(session: Session, numbers: list[Any]) -> dict[int, dict[str, CurrentLot]]:
    """Batch -> ingredient -> lot, as they stand."""
    links = plain_rows_of(session, BatchLot, BatchLot.batch_id, numbers)
    changes = plain_rows_of(session, BatchLotChange, BatchLotChange.batch_id, numbers)
    named = [link.lot_id for link in links] + [change.lot_id for change in changes if change.lot_id is not None]
    known = lots_as_they_stand(session, named)
    found: dict[int, dict[str, CurrentLot]] = {}
    for link in links:
        lot = known[link.lot_id]
        found.setdefault(link.batch_id, {})[lot.ingredient] = lot
    for change in changes:
        of_batch = found.setdefault(change.batch_id, {})
        if change.lot_id is None:
            of_batch.pop(change.ingredient, None)
        else:
            of_batch[change.ingredient] = known[change.lot_id]
    return found


def _readings(session: Session, bakes: list[Any]) -> dict[int, list[CurrentReading]]:
    """Bake -> standing readings in order of pieces, repeats and entry."""
    rows = standing(plain_rows_of(session, Reading, Reading.bake_id, bakes))
    pieces = {piece.id: piece.number for piece in plain_rows_of(session, Piece, Piece.bake_id, bakes)}
    counted = [row.id for row in rows]
    sizes = {
        size.reading_id: size.size for size in plain_rows_of(session, ReadingSize, ReadingSize.reading_id, counted)
    }
    found: dict[int, list[CurrentReading]] = {}
    for row in sorted(rows, key=lambda row: (pieces.get(row.piece_id, 0), row.repeat, row.id or 0)):
        assert row.value is not None
        found.setdefault(row.bake_id, []).append(
            CurrentReading(
                id=row.id or 0,
                response=row.response,
                piece=pieces.get(row.piece_id),
                repeat=row.repeat,
                value=row.value,
                size=sizes.get(row.id or 0),
            )
        )
    return found
