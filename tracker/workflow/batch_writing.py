"""How do batches get into the record: their lots, bakes, pieces and readings?

Within one transaction that is open already. A number whose batch was taken back may be
logged again: the same batch then stands again, with what is said of it now.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlmodel import col, select

from tracker.current import rows_of
from tracker.current_batches import CurrentBatch, current_batch
from tracker.deeds import Deed
from tracker.errors import Conflict, InputError
from tracker.models import (
    Bake,
    Batch,
    BatchChange,
    BatchFile,
    BatchLot,
    BatchLotChange,
    Lot,
    Piece,
    Product,
    Reading,
    ReadingSize,
)
from tracker.whole_log import batches_numbered
from tracker.workflow.lookup import key

DETAILS = ("baked_at", "line", "oven", "shift")


@dataclass(frozen=True, kw_only=True)
class BatchEntry:
    """One batch as it is logged.

    ``baked_at`` is RFC 3339 in UTC; ``lots`` maps an ingredient to the code of its lot;
    ``readings`` maps a response to one value for each piece (None: not read), ``sizes`` a counted
    response to what each count was taken out of.
    """

    number: str
    baked_at: str
    line: str = ""
    oven: str = ""
    shift: str = ""
    lots: Mapping[str, str]
    readings: Mapping[str, Sequence[float | None]]
    sizes: Mapping[str, Sequence[float]] = field(default_factory=dict)


def check_entries(entries: Sequence[BatchEntry]) -> None:
    """Raises InputError for a number that stands twice and a reading that is no number."""
    twice = [number for number, times in Counter(entry.number for entry in entries).items() if times > 1]
    if twice:
        raise InputError(f"Batch {twice[0]} stands twice in the log.", where="batch log", try_this="number it anew")
    for entry in entries:
        for response, values in entry.readings.items():
            wrong = [value for value in values if value is not None and not math.isfinite(value)]
            if wrong:
                raise InputError(
                    f"{response} of batch {entry.number} is not a number.",
                    where=f"batch {entry.number}",
                    try_this="leave out what was not measured",
                )


def write_batches(
    deed: Deed,
    product: Product,
    entries: Sequence[BatchEntry],
    *,
    person: int,
    file: int | None = None,
    reason: str = "",
) -> list[int]:
    """Write these batches; ``file`` is the row of the file they came from. Returns their rows' numbers.

    Raises Conflict when a number is taken by a batch that stands.
    """
    again = _refuse_taken(deed, product, entries)
    lots = _lots(deed, entries)
    new = [entry for entry in entries if entry.number not in again]
    numbers = [entry.number for entry in new]
    told = {detail: [getattr(entry, detail) for entry in new] for detail in DETAILS}
    written = deed.add_rows(Batch, {"product_id": key(product), "number": numbers, **told})
    named = [(batch, lot) for batch, entry in zip(written, new, strict=True) for lot in entry.lots.items()]
    deed.add_rows(BatchLot, {"batch_id": [batch for batch, _ in named], "lot_id": [key(lots[lot]) for _, lot in named]})
    made = deed.add_rows(Bake, {"batch_id": written, "made_at": told["baked_at"]})
    for entry in entries:
        if entry.number in again:
            _let_stand_again(deed, again[entry.number], entry, lots, person, reason or "logged again")
    rows = dict(zip(numbers, written, strict=True)) | {number: key(row) for number, (row, _) in again.items()}
    bakes = dict(zip(numbers, made, strict=True))
    bakes |= {number: key(_bake(deed, row)) for number, (row, _) in again.items()}
    if file is not None:
        came = _not_from(deed, file, entries, rows)
        deed.add_rows(BatchFile, {"batch_id": [rows[entry.number] for entry in came], "import_file_id": file})
    write_readings(deed, [(bakes[entry.number], entry) for entry in entries], person, file, new=frozenset(made))
    return [rows[entry.number] for entry in entries]


def _refuse_taken(deed: Deed, product: Product, entries: Iterable[BatchEntry]) -> dict[str, tuple[Batch, CurrentBatch]]:
    """Batches of these numbers that were taken back; Conflict for one that stands."""
    again: dict[str, tuple[Batch, CurrentBatch]] = {}
    for row in batches_numbered(deed.session, product, [entry.number for entry in entries]):
        stands = current_batch(deed.session, row)
        if not stands.void:
            raise Conflict(
                f'Batch {row.number} of "{product.name}" is in the log already.',
                where=f'product "{product.name}"',
                try_this="leave it out, or give the new batch a number of its own",
            )
        again[row.number] = (row, stands)
    return again


def find_or_make_lot(deed: Deed, ingredient: str, code: str) -> Lot:
    known = deed.session.exec(select(Lot).where(Lot.ingredient == ingredient, Lot.code == code)).first()
    return known or deed.add(Lot(ingredient=ingredient, code=code))


def _lots(deed: Deed, entries: Iterable[BatchEntry]) -> dict[tuple[str, str], Lot]:
    """Every lot the entries name, by ingredient and code; new ones are written, first seen first."""
    named = dict.fromkeys(lot for entry in entries for lot in entry.lots.items())
    codes = sorted({code for _, code in named})
    known: dict[tuple[str, str], Lot] = {}
    for start in range(0, len(codes), 500):
        found = deed.session.exec(select(Lot).where(col(Lot.code).in_(codes[start : start + 500])))
        known |= {(lot.ingredient, lot.code): lot for lot in found}
    new = deed.add_many(
        [Lot(ingredient=ingredient, code=code) for ingredient, code in named if (ingredient, code) not in known]
    )
    return known | {(lot.ingredient, lot.code): lot for lot in new}


def _let_stand_again(
    deed: Deed,
    batch: tuple[Batch, CurrentBatch],
    entry: BatchEntry,
    lots: Mapping[tuple[str, str], Lot],
    person: int,
    reason: str,
) -> None:
    row, was = batch
    who: dict[str, Any] = {"person_id": person, "at": deed.at, "reason": reason}
    for old in was.readings:  # what it was read for the first time does not count beside what is said now
        before = deed.session.get(Reading, old.id)
        assert before is not None
        gone: dict[str, Any] = {"bake_id": before.bake_id, "piece_id": before.piece_id, "repeat": before.repeat}
        deed.add(Reading(**gone, response=before.response, value=None, void=True, replaces_id=before.id, **who))
    deed.add(BatchChange(batch_id=key(row), detail="void", value="no", **who))
    deed.add_many(
        BatchChange(batch_id=key(row), detail=detail, value=getattr(entry, detail), **who)
        for detail in DETAILS
        if getattr(entry, detail) != getattr(was, detail)
    )
    named = {ingredient: key(lots[(ingredient, code)]) for ingredient, code in entry.lots.items()}
    stood = {ingredient: lot.id for ingredient, lot in was.lots.items()}
    deed.add_many(
        BatchLotChange(batch_id=key(row), ingredient=ingredient, lot_id=named.get(ingredient), **who)
        for ingredient in dict.fromkeys((*stood, *named))
        if stood.get(ingredient) != named.get(ingredient)
    )


def _bake(deed: Deed, batch: Batch) -> Bake:
    known = deed.session.exec(select(Bake).where(Bake.batch_id == batch.id)).first()
    return known or deed.add(Bake(batch_id=key(batch), made_at=batch.baked_at))


def _not_from(deed: Deed, file: int, entries: Sequence[BatchEntry], rows: Mapping[str, int]) -> list[BatchEntry]:
    """Entries whose batch did not come from this file before."""
    came = set(deed.session.exec(select(BatchFile.batch_id).where(BatchFile.import_file_id == file)))
    return [entry for entry in entries if rows[entry.number] not in came]


def write_readings(
    deed: Deed,
    pairs: Sequence[tuple[int, BatchEntry]],
    person: int,
    file: int | None,
    *,
    new: frozenset[int] = frozenset(),
) -> None:
    """Pieces and readings of each entry, under the number of its bake; ``new`` bakes have no pieces yet."""
    sizes = {bake: max(map(len, entry.readings.values()), default=0) for bake, entry in pairs}
    pieces = _pieces(deed, sizes, new)
    told = [
        # A count is taken of the batch as a whole.
        (bake, None if response in entry.sizes else pieces[bake][number], entry, response, number, value)
        for bake, entry in pairs
        for response, values in entry.readings.items()
        for number, value in enumerate(values, start=1)
        if value is not None
    ]
    if not told:
        return
    bakes, placed, logged, responses, _, values = (list(column) for column in zip(*told, strict=True))
    written = deed.add_rows(
        Reading,
        {
            "bake_id": bakes,
            "piece_id": placed,
            "at": [entry.baked_at for entry in logged],
            "response": responses,
            "value": values,
            "person_id": person,
            "import_file_id": file,
        },
    )
    counted = [
        (reading, entry.sizes[response][number - 1])
        for reading, (_, _, entry, response, number, _) in zip(written, told, strict=True)
        if response in entry.sizes
    ]
    deed.add_rows(ReadingSize, {"reading_id": [row for row, _ in counted], "size": [size for _, size in counted]})


def _pieces(deed: Deed, sizes: Mapping[int, int], without: frozenset[int]) -> dict[int, dict[int, int]]:
    """Bake -> number of a piece, from 1 to its size -> row; pieces that are not there yet are written."""
    found: dict[int, dict[int, int]] = {bake: {} for bake in sizes}
    for piece in rows_of(deed.session, Piece, Piece.bake_id, sorted(sizes.keys() - without)):
        found[piece.bake_id][piece.number] = key(piece)
    new = [(bake, number) for bake, size in sizes.items() for number in range(1, size + 1) if number not in found[bake]]
    written = deed.add_rows(Piece, {"bake_id": [bake for bake, _ in new], "number": [number for _, number in new]})
    for (bake, number), row in zip(new, written, strict=True):
        found[bake][number] = row
    return found
