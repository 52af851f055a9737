"""Which batches of a product were baked, from which lots, and how did they turn out?

The daily log beside the trials: a product, its batches in the order of baking, the lots
that went into each (and so the batches a lot went into), readings piece by piece.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlmodel import col, select

from tracker.errors import Conflict, InputError, NotFound
from tracker.intake.mapping import snake
from tracker.intake.spreadsheet import nearest
from tracker.models import Bake, Batch, BatchLot, Lot, Piece, Product, Reading
from tracker.workflow.exporting import Column, Exported
from tracker.workflow.lookup import key

if TYPE_CHECKING:
    from sqlmodel import Session

    from tracker.store import Deed, Store


@dataclass(frozen=True, kw_only=True)
class BatchEntry:
    """One batch as it is logged.

    ``baked_at`` is RFC 3339 in UTC; ``lots`` maps an ingredient to the code of its lot;
    ``readings`` maps a response to one value for each piece.
    """

    number: str
    baked_at: str
    line: str = ""
    oven: str = ""
    shift: str = ""
    lots: Mapping[str, str]
    readings: Mapping[str, Sequence[float]]


@dataclass(frozen=True, kw_only=True)
class BatchLine:
    """One batch as it stands: ``values`` maps a response to its standing readings, piece by piece."""

    number: str
    baked_at: str
    line: str
    oven: str
    shift: str
    lots: Mapping[str, str]
    values: Mapping[str, tuple[float, ...]]

    def words(self) -> str:
        means = (f"{name} {sum(v) / len(v):.1f} (mean of {len(v)})" for name, v in self.values.items() if v)
        lots = ", ".join(f"{ingredient} {code}" for ingredient, code in self.lots.items())
        return f"{self.number}  {self.oven}, {self.shift}  {'; '.join(means)}  lots: {lots}"

    def to_json(self) -> dict[str, Any]:
        return {
            "batch": self.number,
            "baked_at": self.baked_at,
            "line": self.line,
            "oven": self.oven,
            "shift": self.shift,
            "lots": dict(self.lots),
            "readings": {name: list(values) for name, values in self.values.items()},
        }


def log_batches(store: Store, product: str, entries: Sequence[BatchEntry], *, person: int = 1) -> int:
    """Write batches of a product in one transaction; returns how many.

    A product that is not known yet is made. Raises Conflict when a batch number is taken,
    InputError for a value that is no number, NotFound for an unknown person.
    """
    _check(entries)
    with store.write(person=person, action="log batches") as deed:
        its = _product(deed, product)
        _refuse_taken(deed.session, its, entries)
        lots = _lots(deed, entries)
        batches = deed.add_many(
            [
                Batch(
                    product_id=key(its), number=e.number, baked_at=e.baked_at, line=e.line, oven=e.oven, shift=e.shift
                )
                for e in entries
            ]
        )
        deed.add_many(
            [
                BatchLot(batch_id=key(batch), lot_id=key(lots[lot]))
                for batch, entry in zip(batches, entries, strict=True)
                for lot in entry.lots.items()
            ]
        )
        bakes = deed.add_many([Bake(batch_id=key(batch), made_at=batch.baked_at) for batch in batches])
        _write_readings(deed, bakes, entries, person)
    return len(entries)


def _check(entries: Sequence[BatchEntry]) -> None:
    twice = [number for number, times in Counter(entry.number for entry in entries).items() if times > 1]
    if twice:
        raise InputError(f"Batch {twice[0]} stands twice in the log.", where="batch log", try_this="number it anew")
    for entry in entries:
        for response, values in entry.readings.items():
            wrong = [value for value in values if not math.isfinite(value)]
            if wrong:
                raise InputError(
                    f"{response} of batch {entry.number} is not a number.",
                    where=f"batch {entry.number}",
                    try_this="leave out what was not measured",
                )


def _product(deed: Deed, name: str) -> Product:
    known = deed.session.exec(select(Product).where(Product.name == name)).first()
    return known or deed.add(Product(name=name, made_at=deed.at))


def _refuse_taken(session: Session, product: Product, entries: Iterable[BatchEntry]) -> None:
    taken = set(session.exec(select(Batch.number).where(Batch.product_id == product.id)))
    again = [entry.number for entry in entries if entry.number in taken]
    if again:
        raise Conflict(
            f'Batch {again[0]} of "{product.name}" is in the log already.',
            where=f'product "{product.name}"',
            try_this="leave it out, or give the new batch a number of its own",
        )


def _lots(deed: Deed, entries: Iterable[BatchEntry]) -> dict[tuple[str, str], Lot]:
    """Every lot the entries name, by ingredient and code; new ones are written, first seen first."""
    known = {(lot.ingredient, lot.code): lot for lot in deed.session.exec(select(Lot))}
    named = dict.fromkeys(lot for entry in entries for lot in entry.lots.items())
    new = deed.add_many(
        [Lot(ingredient=ingredient, code=code) for ingredient, code in named if (ingredient, code) not in known]
    )
    return known | {(lot.ingredient, lot.code): lot for lot in new}


def _write_readings(deed: Deed, bakes: Sequence[Bake], entries: Sequence[BatchEntry], person: int) -> None:
    pairs = list(zip(bakes, entries, strict=True))
    numbered = [
        (bake, number)
        for bake, entry in pairs
        for number in range(1, max((len(values) for values in entry.readings.values()), default=0) + 1)
    ]
    written = deed.add_many([Piece(bake_id=key(bake), number=number) for bake, number in numbered])
    pieces = {(piece.bake_id, piece.number): piece for piece in written}
    deed.add_many(
        [
            Reading(
                bake_id=key(bake),
                piece_id=pieces[(key(bake), number)].id,
                response=response,
                value=value,
                person_id=person,
                at=entry.baked_at,
            )
            for bake, entry in pairs
            for response, values in entry.readings.items()
            for number, value in enumerate(values, start=1)
        ]
    )


def list_batches(store: Store, product: str) -> tuple[BatchLine, ...]:
    """The batches of a product in order of baking. Raises NotFound with the nearest name."""
    with store.read() as session:
        its = session.exec(select(Product).where(Product.name == product)).first()
        if its is None:
            raise _no_product(session, product)
        batches = session.exec(
            select(Batch).where(Batch.product_id == its.id).order_by(col(Batch.baked_at), col(Batch.id))
        ).all()
        lots = _lots_of(session, its)
        values = _values_of(session, its)
    return tuple(
        BatchLine(
            number=batch.number,
            baked_at=batch.baked_at,
            line=batch.line,
            oven=batch.oven,
            shift=batch.shift,
            lots=lots.get(key(batch), {}),
            values={name: tuple(found) for name, found in values.get(key(batch), {}).items()},
        )
        for batch in batches
    )


def _no_product(session: Session, name: str) -> NotFound:
    known = list(session.exec(select(Product.name).order_by(col(Product.id))))
    return NotFound(
        f'There is no product "{name}".',
        where="kitchen",
        try_this=f'"{nearest(name, known) or known[0]}"' if known else "a kitchen with a daily log: crumbwise demo",
    )


def _lots_of(session: Session, product: Product) -> dict[int, dict[str, str]]:
    rows = session.exec(
        select(Batch.id, Lot.ingredient, Lot.code)
        .join(BatchLot, col(BatchLot.batch_id) == Batch.id)
        .join(Lot, col(Lot.id) == BatchLot.lot_id)
        .where(Batch.product_id == product.id)
        .order_by(col(BatchLot.id))
    )
    lots: dict[int, dict[str, str]] = {}
    for batch, ingredient, code in rows:
        assert batch is not None
        lots.setdefault(batch, {})[ingredient] = code
    return lots


def _values_of(session: Session, product: Product) -> dict[int, dict[str, list[float]]]:
    """Batch -> response -> standing values in order of the pieces."""
    replaced = select(Reading.replaces_id).where(col(Reading.replaces_id).is_not(None))
    rows = session.exec(
        select(Batch.id, Reading.response, Reading.value)
        .join(Bake, col(Bake.batch_id) == Batch.id)
        .join(Reading, col(Reading.bake_id) == Bake.id)
        .join(Piece, col(Piece.id) == Reading.piece_id, isouter=True)
        .where(Batch.product_id == product.id, ~col(Reading.void), col(Reading.id).not_in(replaced))
        .order_by(col(Piece.number), col(Reading.repeat))
    )
    values: dict[int, dict[str, list[float]]] = {}
    for batch, response, value in rows:
        assert batch is not None
        assert value is not None
        values.setdefault(batch, {}).setdefault(response, []).append(value)
    return values


def batch_table(product: str, lines: Sequence[BatchLine]) -> Exported:
    """One row for each reading, in order of baking, ready to be written as CSV."""
    ingredients = list(dict.fromkeys(name for line in lines for name in line.lots))
    columns = (
        Column(name="batch", meaning="number of the batch", kind="code"),
        Column(name="baked_at", meaning="when it was baked (UTC)", kind="time"),
        Column(name="line", meaning="production line", kind="category"),
        Column(name="oven", meaning="oven", kind="category"),
        Column(name="shift", meaning="shift", kind="category"),
        *(Column(name=snake(f"{name} lot", ""), meaning=f"lot of {name}", kind="category") for name in ingredients),
        Column(name="piece", meaning="number of the piece out of this batch", kind="count"),
        Column(name="response", meaning="what was measured", kind="category"),
        Column(name="value", meaning="the reading", kind="measured"),
    )
    rows = tuple(
        (
            *(line.number, line.baked_at, line.line, line.oven, line.shift),
            *(line.lots.get(name) for name in ingredients),
            *(number, response, value),
        )
        for line in lines
        for response, values in line.values.items()
        for number, value in enumerate(values, start=1)
    )
    return Exported(trial=product, columns=columns, rows=rows)
