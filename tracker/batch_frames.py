"""How did the batches of a product turn out, day by day, and what was different about each?"""

from __future__ import annotations

import pandas as pd

from tracker.current_batches import CurrentBatch, current_batches, find_product
from tracker.store import Store

BATCH_COLUMNS = ["batch", "baked_at", "lots", "line", "oven", "shift", "piece", "repeat", "response", "value", "size"]


def batch_table(store: Store, product: str) -> pd.DataFrame:
    """One row per standing reading of a product's batches, in order of baking.

    Columns ``batch``, ``baked_at``, ``lots`` (ingredient -> code), ``line``, ``oven``, ``shift``,
    ``piece``, ``repeat``, ``response``, ``value``, ``size`` (of a count, else missing). Raises
    NotFound with the nearest name.
    """
    rows = [
        (
            batch.number,
            batch.baked_at,
            {ingredient: lot.code for ingredient, lot in batch.lots.items()},
            batch.line,
            batch.oven,
            batch.shift,
            reading.piece,
            reading.repeat,
            reading.response,
            reading.value,
            reading.size,
        )
        for batch in _batches(store, product)
        for reading in sorted(batch.readings, key=lambda each: each.id)
    ]
    kinds = {"piece": "Int64", "repeat": "int64", "value": "float64", "size": "float64"}
    return pd.DataFrame(rows, columns=BATCH_COLUMNS).astype(kinds)


def batch_details(store: Store, product: str) -> pd.DataFrame:
    """One row per standing batch, in order of baking: what may explain how it turned out.

    Columns ``batch``, ``baked_at``, ``line``, ``oven``, ``shift``, and for each ingredient
    ``<ingredient> lot`` (its code, or "") and ``<ingredient> age`` (days since the lot was opened,
    else since it came in; missing when neither is known). Raises NotFound with the nearest name.
    """
    batches = _batches(store, product)
    ingredients = list(dict.fromkeys(name for batch in batches for name in batch.lots))
    columns: dict[str, pd.Series] = {
        name: pd.Series([getattr(batch, "number" if name == "batch" else name) for batch in batches], dtype="object")
        for name in ("batch", "baked_at", "line", "oven", "shift")
    }
    for ingredient in ingredients:
        lots = [batch.lots.get(ingredient) for batch in batches]
        ages = [None if lot is None else lot.age_days(at.baked_at) for lot, at in zip(lots, batches, strict=True)]
        columns[f"{ingredient} lot"] = pd.Series(["" if lot is None else lot.code for lot in lots], dtype="object")
        columns[f"{ingredient} age"] = pd.Series(ages, dtype="Int64")
    return pd.DataFrame(columns)


def _batches(store: Store, product: str) -> list[CurrentBatch]:
    with store.read() as session:
        return current_batches(session, find_product(session, product))
