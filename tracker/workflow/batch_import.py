"""How does a season's spreadsheet become part of a product's log, and how is that undone?

The file is read and checked as a whole, then written in one transaction with its alarms, or
not at all; it is kept beside what it brought. Undoing takes its batches back, as entries.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from sqlmodel import Session, col, select

from tracker.current import rows_of
from tracker.current_batches import CurrentBatch, current_batch, current_batches, find_product
from tracker.deeds import Deed
from tracker.errors import Conflict, InputError, NotFound
from tracker.intake.mapping import read_map
from tracker.intake.preview import RowError
from tracker.intake.spreadsheet import Sheet, nearest, read_spreadsheet
from tracker.models import Batch, BatchChange, BatchFile, FormulaLine, ImportFile, Lot, Product
from tracker.store import Store
from tracker.whole_log import batches_numbered
from tracker.workflow.batch_columns import place_columns
from tracker.workflow.batch_notices import new_lots
from tracker.workflow.batch_preview import BatchPreview, Undone
from tracker.workflow.batch_rows import BatchRows
from tracker.workflow.batch_writing import BatchEntry, check_entries, write_batches
from tracker.workflow.logged_responses import responses_of
from tracker.workflow.lookup import key
from tracker.workflow.quick_entry import zone_of
from tracker.workflow.recorded_alarms import Changes, record_by_chart, withdraw_from


def import_batches(
    store: Store,
    product: str,
    path: str | Path,
    *,
    sheet: str | None = None,
    mapping: Sequence[str] = (),
    dry_run: bool = False,
    person: int = 1,
) -> BatchPreview:
    """Bring a CSV or XLSX file of batches into a product's log; all of it or nothing.

    A dry run writes nothing and returns the preview with its errors. Otherwise raises InputError
    (rows that cannot be used), Conflict (the file came before, numbers are taken), NotFound.
    """
    with _without_collecting():
        table = read_spreadsheet(path, sheet=sheet)
        if dry_run:
            with store.read() as session:
                return _preview(session, find_product(session, product), table, read_map(mapping))[0]
        return _import(store, product, table, read_map(mapping), person)


@contextmanager
def _without_collecting() -> Iterator[None]:
    """Let the collector of circular references rest; it would go through all rows again and again and find nothing."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def _import(store: Store, product: str, table: Sheet, explicit: dict[str, str], person: int) -> BatchPreview:
    with store.write(person=person, action="import batches") as deed:
        its = find_product(deed.session, product)
        preview, entries = _preview(deed.session, its, table, explicit)
        preview.refuse_errors()
        check_entries(entries)
        file = _keep_file(deed, its, table, person)
        rows = write_batches(
            deed, its, entries, person=person, file=key(file), reason=f"imported again from {table.source}"
        )
        changes = _record(deed, its, rows, person, f"{table.source} was imported")
    return replace(preview, stored=True, alarms=len(changes.raised))


def undo_import(store: Store, product: str, file: str, *, reason: str, person: int = 1) -> Undone:
    """Take every standing batch of an imported file back. ``file`` is its name or the beginning of its hash.

    Raises NotFound for a file that never came, Conflict when nothing of it stands, InputError
    without a reason.
    """
    if not reason.strip():
        raise InputError("Undoing an import needs a reason.", where="--undo", try_this='--reason "the wrong season"')
    with store.write(person=person, action="undo import", reason=reason.strip()) as deed:
        its = find_product(deed.session, product)
        found = _file_meant(deed.session, its, file)
        stands = [batch for batch in _batches_of(deed.session, found) if not batch.void]
        if not stands:
            raise Conflict(f"Nothing of {found.name} stands in the log.", where="--undo", try_this="another file")
        deed.add_many(
            BatchChange(
                batch_id=batch.id, detail="void", value="yes", person_id=person, at=deed.at, reason=reason.strip()
            )
            for batch in stands
        )
        changes = _withdraw_and_judge(deed, its, stands, person, f"{found.name} was taken back")
    return Undone(
        product=product,
        file=found.name,
        batches=tuple(batch.number for batch in stands),
        withdrawn=len(changes.withdrawn),
    )


def _preview(
    session: Session, product: Product, table: Sheet, explicit: dict[str, str]
) -> tuple[BatchPreview, list[BatchEntry]]:
    responses = responses_of(session, product)
    columns = place_columns(table, responses, _ingredients(session, product), explicit)
    _refuse_known_file(session, product, table)
    reader = BatchRows(table, columns, responses, product.name, zone_of(session))
    entries = reader.read()
    errors = [*reader.errors, *_taken(session, product, entries, reader)]
    known = set(_ingredients(session, product))
    fresh = [f"{name} is an ingredient that had no lots before." for name in columns.lots if name not in known]
    return (
        BatchPreview(
            product=product.name,
            file=table.source,
            sheet=table.sheet,
            sha256=table.sha256,
            columns=columns.said(),
            left_out=columns.left_out,
            unknown=columns.unknown,
            rows=len(table.rows),
            batches=len(entries),
            readings=sum(
                value is not None for each in entries for values in each.readings.values() for value in values
            ),
            errors=tuple(errors),
            notices=(*table.notes, *reader.notices, *fresh, *_lots_said(session, entries)),
        ),
        entries,
    )


def _lots_said(session: Session, entries: Sequence[BatchEntry]) -> list[str]:
    """Each new lot; where there are many, how many and the first few."""
    said = new_lots(session, [entry.lots for entry in entries])
    return said if len(said) <= 3 else [*said[:3], f"… and {len(said) - 3} more lots that are new."]


def _ingredients(session: Session, product: Product) -> list[str]:
    lines = select(FormulaLine.ingredient).where(FormulaLine.formula_id == product.formula_id)
    return list(dict.fromkeys([*session.exec(select(Lot.ingredient).distinct()), *session.exec(lines)]))


def _taken(session: Session, product: Product, entries: Sequence[BatchEntry], reader: BatchRows) -> list[RowError]:
    """Numbers of batches that stand in the log already."""
    found = [
        RowError(
            row=reader.row_of(row.number),
            column=reader.columns.own["batch"],
            what=f"Batch {row.number} is in the log already.",
            try_this="leave its rows out, or give the new batch a number of its own",
            taken=True,
        )
        for row in batches_numbered(session, product, [entry.number for entry in entries])
        if not current_batch(session, row).void
    ]
    return sorted(found, key=lambda error: error.row)


def _known_file(session: Session, product: Product, table: Sheet) -> ImportFile | None:
    wanted = select(ImportFile).where(ImportFile.product_id == product.id, ImportFile.sha256 == table.sha256)
    return session.exec(wanted).first()


def _refuse_known_file(session: Session, product: Product, table: Sheet) -> None:
    came = _known_file(session, product, table)
    if came is not None and any(not batch.void for batch in _batches_of(session, came)):
        raise Conflict(
            f'{table.source} came into "{product.name}" already, as {came.name} on '
            f"{came.at[:16].replace('T', ' at ')} UTC.",
            where=table.source,
            try_this=f'a file with new batches, or first: crumbwise batch import "{product.name}" {came.name} --undo '
            '--reason "…"',
        )


def _keep_file(deed: Deed, product: Product, table: Sheet, person: int) -> ImportFile:
    """The file as it came; one that was undone is kept already."""
    return _known_file(deed.session, product, table) or deed.add(
        ImportFile(
            product_id=key(product),
            name=table.source,
            sha256=table.sha256,
            content=table.content,
            person_id=person,
            at=deed.at,
        )
    )


def _batches_of(session: Session, file: ImportFile) -> list[CurrentBatch]:
    links = session.exec(select(BatchFile.batch_id).where(BatchFile.import_file_id == file.id)).all()
    return [current_batch(session, row) for row in rows_of(session, Batch, Batch.id, sorted(links))]


def _file_meant(session: Session, product: Product, file: str) -> ImportFile:
    wanted = select(ImportFile).where(ImportFile.product_id == product.id).order_by(col(ImportFile.id))
    files = list(session.exec(wanted))
    name = Path(file).name
    found = [each for each in files if each.name == name or (len(file) >= 8 and each.sha256.startswith(file.lower()))]
    if not found:
        names = [each.name for each in files]
        raise NotFound(
            f'No file {name} came into "{product.name}"; those that did: {", ".join(names) or "none"}.',
            where="--undo",
            try_this=nearest(name, names) or (names[-1] if names else "import a file first"),
        )
    return found[-1]


def _record(deed: Deed, product: Product, only: Sequence[int], person: int, reason: str) -> Changes:
    changes = Changes()
    for response in responses_of(deed.session, product):
        changes += record_by_chart(deed, product, response, person=person, only=only, reason=reason)
    return changes


def _withdraw_and_judge(
    deed: Deed, product: Product, gone: Sequence[CurrentBatch], person: int, reason: str
) -> Changes:
    """Alarms of batches that were taken back go; the rest of the log is judged without them."""
    changes = withdraw_from(deed, [batch.id for batch in gone], person=person, reason=reason)
    since = min(batch.place for batch in gone)
    if current_batches(deed.session, product, after=since, first=1):
        for response in responses_of(deed.session, product):
            changes += record_by_chart(deed, product, response, person=person, since=since, reason=reason)
    return changes
