"""How much faster is a season's spreadsheet imported than its rows are recorded one by one?

Collected only with CRUMBWISE_LARGE=1: ``CRUMBWISE_LARGE=1 pytest -s tests/benchmarks/test_import_speed.py``.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from sqlmodel import SQLModel, col, func, select

from tracker.models import AuditEntry, Bake, Batch, BatchFile, ImportFile, Piece, Product, Reading
from tracker.store import Store, open_kitchen
from tracker.workflow.batch_import import import_batches
from tracker.workflow.products import add_product
from tracker.workflow.quick_entry import log_batch

__test__ = os.environ.get("CRUMBWISE_LARGE") == "1"

BATCHES, PER_BATCH, SINGLY, BY_HAND = 5_000, 3, 15, 20
ROWS_OF_A_BATCH = 3 + 2 * PER_BATCH  # batch, bake, file; a piece and its reading
TURNS = 3
AT_LEAST = 100
MARGIN = 0.75


def test_a_seasons_spreadsheet_beside_a_commit_per_row(tmp_path: Path) -> None:
    """A file with 5,000 batches of three readings, beside the same audited rows each in a commit of its own.

    The import reads the sheet, checks it, writes nine rows with their audit entries for each batch and judges the
    whole log at its end. The rows of its first fifteen batches are then written once more for another product, one by
    one, into the same tables and with the same entries. Both are done three times after a few batches that are not
    timed, and the quickest of each counts. So few as 100 times are meant for a machine that does nothing else, where
    100 to 117 were measured by the clock. Another program takes its time from an import, which computes all the while,
    but hardly from commits, which mostly wait for the disk, or else from both: 82 and 780 were seen. So a quarter is
    left to it here, and the time of the processor is printed beside the clock's, and a person's way, each batch judged.
    """
    with open_kitchen(str(tmp_path / "import.db"), create=True) as store:
        for name in ("few", "by hand", *(f"{way} {turn}" for turn in range(TURNS) for way in ("sheet", "rows"))):
            add_product(store, name, responses=["rise height:unit=mm"])
        import_batches(store, "few", season(tmp_path / "few.csv", 5))
        by_row(store, "few", range(5, 6))
        sheet = season(tmp_path / "season.csv", BATCHES)
        turns = [one_turn(store, sheet, turn) for turn in range(TURNS)]
        by_hand = timed(
            lambda: [
                log_batch(store, "by hand", f"H{at}", readings=["rise height=41; 42; 43"]) for at in range(BY_HAND)
            ]
        )
    of_one, alone = ([min(turn[way][at] for turn in turns) for at in (0, 1)] for way in (0, 1))
    times = [one / other for one, other in zip(alone, of_one, strict=True)]
    print(
        f"\na row of the import {1e6 * of_one[0]:.1f} us by the clock, {1e6 * of_one[1]:.1f} of the processor; in a"
        f" commit of its own {1e6 * alone[0]:.0f} and {1e6 * alone[1]:.0f}: {times[0]:.0f} and {times[1]:.0f} times;"
        f" a batch logged by hand {by_hand[0] / BY_HAND / (of_one[0] * ROWS_OF_A_BATCH):.0f} times"
    )
    assert times[0] > MARGIN * AT_LEAST


Seconds = tuple[float, float]  # by the clock, and of the processor


def one_turn(store: Store, sheet: Path, turn: int) -> tuple[Seconds, Seconds]:
    """For an audited row of the import, and for one in a commit of its own; the entries of both say the same."""
    start = last_entry(store)
    whole = timed(lambda: import_batches(store, f"sheet {turn}", sheet))
    between = last_entry(store)
    singly = timed(lambda: by_row(store, f"rows {turn}", range(SINGLY)))
    imported, one_by_one = entered(store, start, between), entered(store, between, last_entry(store))
    assert len(imported["reading"]) == BATCHES * PER_BATCH
    assert sum(map(len, one_by_one.values())) == SINGLY * ROWS_OF_A_BATCH
    for table, entries in one_by_one.items():
        assert imported[table][: len(entries)] == entries
    rows, single_rows = BATCHES * ROWS_OF_A_BATCH, SINGLY * ROWS_OF_A_BATCH
    return (whole[0] / rows, whole[1] / rows), (singly[0] / single_rows, singly[1] / single_rows)


def season(path: Path, batches: int) -> Path:
    """A sheet of so many daily batches, a row for each piece."""
    rows = [["batch", "date", "rise height (mm)"]]
    rows += [[f"B{at:05}", day(at), height(at, place)] for at in range(batches) for place in range(1, PER_BATCH + 1)]
    if path.suffix == ".csv":
        path.write_text("\n".join(map(",".join, rows)), encoding="utf-8")
        return path
    book = Workbook()
    assert book.active is not None
    for number, day_text, text in rows:
        book.active.append([number, day_text, float(text) if number != "batch" else text])
    book.save(path)
    return path


def day(at: int) -> str:
    return str(date(2010, 1, 1) + timedelta(days=at))


def height(at: int, place: int) -> str:
    return f"{40 + (at + place) % 5}.{(at * place) % 10}"


def by_row(store: Store, product: str, batches: range) -> None:
    """The rows of these batches of the season as the import writes them, each in a commit of its own."""
    with store.read() as session:
        its: Any = session.exec(select(Product.id).where(Product.name == product)).one()
        file: Any = session.exec(select(func.max(ImportFile.id))).one()

    def add(row: SQLModel) -> Any:
        with store.write(person=1, action="import batches") as deed:
            return deed.add(row).id  # type: ignore[attr-defined]

    for at in batches:
        when = f"{day(at)}T12:00:00Z"
        batch = add(Batch(product_id=its, number=f"B{at:05}", baked_at=when))
        bake = add(Bake(batch_id=batch, made_at=when))
        add(BatchFile(batch_id=batch, import_file_id=file))
        told = {"bake_id": bake, "response": "rise height", "person_id": 1, "import_file_id": file, "at": when}
        for place in range(1, PER_BATCH + 1):
            piece = add(Piece(bake_id=bake, number=place))
            add(Reading(piece_id=piece, value=float(height(at, place)), **told))


def last_entry(store: Store) -> int:
    with store.read() as session:
        return session.exec(select(func.max(AuditEntry.sequence))).one() or 0


def entered(store: Store, after: int, until: int) -> dict[str, list[dict[str, Any]]]:
    """Table -> what each entry says, but for the numbers of rows, which differ."""
    found: dict[str, list[dict[str, Any]]] = {}
    wanted = select(AuditEntry.table_name, AuditEntry.new).where(AuditEntry.sequence > after)
    with store.read() as session:
        for table, new in session.exec(wanted.where(AuditEntry.sequence <= until).order_by(col(AuditEntry.sequence))):
            said = {name: value for name, value in json.loads(new or "{}").items() if name.removesuffix("id") == name}
            found.setdefault(table, []).append(said)
    return found


def timed(work: Callable[[], object]) -> Seconds:
    begun = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - begun[0], time.process_time() - begun[1]
