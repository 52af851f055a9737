"""How did the batches of a product turn out, day by day?"""

from __future__ import annotations

import pandas as pd
from sqlmodel import Session, select

from tracker.current import nearest_name, rows_of, standing
from tracker.errors import NotFound
from tracker.models import Bake, Batch, BatchLot, Lot, Piece, Product, Reading
from tracker.store import Store


def batch_table(store: Store, product: str) -> pd.DataFrame:
    """One row per standing reading of a product's batches, in order of baking.

    Columns ``batch``, ``baked_at``, ``lots`` (ingredient -> code), ``line``, ``oven``, ``shift``,
    ``piece``, ``repeat``, ``response``, ``value``. Raises NotFound with the nearest name.
    """
    with store.read() as session:
        found = session.exec(select(Product).where(Product.name == product)).first()
        if found is None:
            raise NotFound(f'There is no product "{product}".', try_this=nearest_name(session, product, Product))
        batches = session.exec(select(Batch).where(Batch.product_id == found.id)).all()
        numbers = [batch.id for batch in batches]
        bakes = {bake.id: bake.batch_id for bake in rows_of(session, Bake, Bake.batch_id, numbers)}
        readings = standing(rows_of(session, Reading, Reading.bake_id, list(bakes)))
        pieces = {piece.id: piece.number for piece in rows_of(session, Piece, Piece.bake_id, list(bakes))}
        lots = _lots(session, numbers)
    order = {batch.id: batch for batch in sorted(batches, key=lambda each: (each.baked_at, each.id))}
    place = {number: position for position, number in enumerate(order)}
    rows = []
    for reading in sorted(readings, key=lambda each: (place[bakes[each.bake_id]], each.id)):
        batch = order[bakes[reading.bake_id]]
        rows.append(
            (
                batch.number,
                batch.baked_at,
                lots.get(batch.id or 0, {}),
                batch.line,
                batch.oven,
                batch.shift,
                pieces.get(reading.piece_id),
                reading.repeat,
                reading.response,
                reading.value,
            )
        )
    columns = ["batch", "baked_at", "lots", "line", "oven", "shift", "piece", "repeat", "response", "value"]
    return pd.DataFrame(rows, columns=columns).astype({"piece": "Int64", "repeat": "int64", "value": "float64"})


def _lots(session: Session, batches: list[int | None]) -> dict[int, dict[str, str]]:
    links = rows_of(session, BatchLot, BatchLot.batch_id, list(batches))
    known = {lot.id: lot for lot in session.exec(select(Lot))}
    found: dict[int, dict[str, str]] = {}
    for link in links:
        lot = known[link.lot_id]
        found.setdefault(link.batch_id, {})[lot.ingredient] = lot.code
    return found
