"""How do batch readings leave for engines that outgrow one machine?

One folder for a whole chain of bakeries, one partition a site: ``FOLDER/site=NAME/readings.parquet`` and
``specifications.csv`` beside it. Each kitchen writes its own site and leaves the others alone. Rows are sorted by
product, line, response and order of baking, and no line is cut by a row group, so that a line can be read whole
without a sort. The site stands in the file as well: the folder's name is for engines that read only some sites.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from tracker.errors import Conflict, InputError
from tracker.workflow.files import write_whole

if TYPE_CHECKING:
    import pyarrow as pa
    import pyarrow.parquet as pq
    from sqlmodel import Session

    from analysis.control.results import Specification
    from tracker.current_batches import CurrentBatch
    from tracker.store import Store

READINGS = "readings.parquet"
SPECIFICATIONS = "specifications.csv"
NAMES = "crumbwise.lines"  # in the footer: the names of each line, so that a pass need not read those columns
SPECIFICATION_COLUMNS = ("site", "product", "response", "unit", "lower", "upper", "target")
ROWS = 250_000  # of a row group, about: some megabytes, and many groups for several processors
TEXTS = ("product", "site", "line", "response", "batch")


@dataclass(frozen=True, kw_only=True)
class LineRows:
    """The readings of one response of a product on one line, in order of baking; columns of one length.

    ``place`` numbers the batches from 1, ``piece`` the readings of a batch; ``baked_at`` are RFC 3339 texts or numpy
    datetimes, ``batch`` and the others anything pyarrow takes as a column.
    """

    product: str
    line: str
    response: str
    batch: Any
    baked_at: Any
    place: Any
    piece: Any
    value: Any


@dataclass(frozen=True, kw_only=True)
class Written:
    """What an export wrote: ``left_out`` are counted responses, which have no limits of this kind."""

    path: Path
    site: str
    products: int
    lines: int
    readings: int
    left_out: tuple[str, ...] = ()

    def summary(self) -> str:
        from analysis.words.numbers import say_count

        wrote = f"{say_count(self.readings, 'reading')} of {say_count(self.lines, 'line')}"
        return f'{self.path}: {wrote}, {say_count(self.products, "product")}, site "{self.site}".'

    def to_json(self) -> dict[str, Any]:
        return {
            "schema_version": 1,
            "file": str(self.path),
            "site": self.site,
            "products": self.products,
            "lines": self.lines,
            "readings": self.readings,
            "left_out": list(self.left_out),
        }


def export_parquet(store: Store, folder: Path, *, product: str | None = None, site: str | None = None) -> Written:
    """Write the standing readings of one product, or of all, as this site's partition of a fleet.

    ``site`` is the kitchen's name unless given. Raises NotFound for an unknown product, Conflict when nothing was
    measured, InputError where it cannot be written.
    """
    from sqlmodel import col, select

    from tracker.current_batches import current_batches, find_product
    from tracker.models import Kitchen, Product

    lines: list[LineRows] = []
    counted: list[str] = []
    specifications: list[tuple[str, Specification]] = []
    with store.read() as session:
        name = site or session.exec(select(Kitchen.name)).first() or "kitchen"
        wanted = session.exec(select(Product).order_by(col(Product.name))).all()
        chosen = [find_product(session, product)] if product else list(wanted)
        for each in chosen:
            batches = current_batches(session, each)
            measured, others = _responses(session, each)
            lines += [rows for response in measured for rows in _lines(each.name, response, batches)]
            counted += [f"{response} of {each.name}" for response in others]
            specifications += _specifications(session, each)
    if not lines:
        raise Conflict(
            "There is no measured batch reading to write.",
            where=f'product "{product}"' if product else "kitchen",
            try_this="log batches first: crumbwise batch log --help",
        )
    path = write_site(folder, name, sorted(lines, key=lambda each: (each.product, each.line, each.response)))
    write_whole(path.with_name(SPECIFICATIONS), _specification_csv(name, specifications))
    return Written(
        path=path,
        site=name,
        products=len({each.product for each in lines}),
        lines=len(lines),
        readings=sum(len(each.value) for each in lines),
        left_out=tuple(counted),
    )


def _responses(session: Session, product: Any) -> tuple[list[str], list[str]]:
    """Measured responses, and those that are counted."""
    from tracker.workflow.logged_responses import responses_of

    known = responses_of(session, product)
    measured = [each.name for each in known if each.scale == "measured"]
    return measured, [each.name for each in known if each.scale != "measured"]


def _lines(product: str, response: str, batches: Sequence[CurrentBatch]) -> Iterator[LineRows]:
    for line in sorted({batch.line for batch in batches}):
        rows = []
        place = 0
        for batch in batches:
            values = [each.value for each in batch.readings if each.response == response] if batch.line == line else []
            place += bool(values)
            rows += [(batch.number, batch.baked_at, place, piece, value) for piece, value in enumerate(values, 1)]
        if rows:
            names = ("batch", "baked_at", "place", "piece", "value")
            columns = dict(zip(names, map(list, zip(*rows, strict=True)), strict=True))
            yield LineRows(product=product, line=line, response=response, **columns)


def _specifications(session: Session, product: Any) -> list[tuple[str, Specification]]:
    from tracker.workflow.batch_series import specification_of
    from tracker.workflow.logged_responses import responses_of

    found = (specification_of(session, product, response) for response in responses_of(session, product))
    return [(product.name, each) for each in found if each is not None]


def _specification_csv(site: str, specifications: Sequence[tuple[str, Specification]]) -> str:
    written = io.StringIO()
    rows = csv.writer(written, lineterminator="\n")
    rows.writerow(SPECIFICATION_COLUMNS)
    for product, each in specifications:
        rows.writerow([site, product, each.response, each.unit, each.lower, each.upper, each.target])
    return written.getvalue()


def series_number(product: str, site: str, line: str, response: str) -> int:
    """A number for a line that every kitchen works out alike, without asking the others: 63 bits of a hash."""
    text = "\x1f".join((product, site, line, response))
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big") >> 1


def write_site(folder: Path, site: str, lines: Iterable[LineRows], *, rows: int = ROWS) -> Path:
    """Write one partition, whole or not at all, and give its path; ``lines`` come in their order."""
    path = Path(folder) / f"site={quote(site, safe=' ')}" / READINGS
    with _beside(path) as beside, _writer(beside) as writer:
        waiting: list[pa.Table] = []
        names: list[list[str]] = []
        for line in lines:
            names.append([line.product, site, line.line, line.response])
            waiting.append(_table(site, line))
            if sum(map(len, waiting)) >= rows:
                _write(writer, waiting)
                waiting = []
        if waiting:
            _write(writer, waiting)
        writer.add_key_value_metadata({NAMES: json.dumps(names, ensure_ascii=False)})
    return path


def names_by_number(footer: pq.FileMetaData) -> dict[int, tuple[str, str, str, str]]:
    """What the footer says of its lines' names, by their numbers; empty where it does not.

    A number is made from its names, so a note that went astray does not fit any row, and nothing false is believed.
    """
    noted = (footer.metadata or {}).get(NAMES.encode())
    try:
        lines: list[tuple[str, str, str, str]] = [
            (str(product), str(site), str(line), str(response))
            for product, site, line, response in (json.loads(noted) if noted else [])
        ]
    except (TypeError, ValueError):  # somebody else's note of the same name
        return {}
    return {series_number(*line): line for line in lines}


def _write(writer: pq.ParquetWriter, tables: list[pa.Table]) -> None:
    import pyarrow as pa

    group = pa.concat_tables(tables)
    writer.write_table(group, row_group_size=len(group))


def _writer(path: Path) -> pq.ParquetWriter:
    import pyarrow.parquet as pq

    # Names repeat and places rise by one: coded, they take next to nothing. Readings are kept to the last bit.
    return pq.ParquetWriter(
        path,
        _schema(),
        compression="zstd",
        use_dictionary=["series", "piece", "baked_at", *TEXTS],
        column_encoding={"place": "DELTA_BINARY_PACKED", "value": "PLAIN"},
    )


def _schema() -> pa.Schema:
    import pyarrow as pa

    return pa.schema(
        [
            ("series", pa.int64()),
            *((name, pa.string()) for name in TEXTS),
            ("baked_at", pa.timestamp("us", tz="UTC")),
            ("place", pa.int32()),
            ("piece", pa.int32()),
            ("value", pa.float64()),
        ]
    )


def _table(site: str, line: LineRows) -> pa.Table:
    import numpy as np
    import pyarrow as pa

    n = len(line.value)
    number = series_number(line.product, site, line.line, line.response)
    schema = _schema()
    at = line.baked_at
    if len(at) and isinstance(at[0], str):
        at = np.array([text.removesuffix("Z").removesuffix("+00:00") for text in at], dtype="datetime64[us]")
    columns = {
        "series": np.full(n, number),
        **{name: pa.repeat(getattr(line, name), n) for name in ("product", "line", "response")},
        "site": pa.repeat(site, n),
        **{name: getattr(line, name) for name in ("batch", "place", "piece", "value")},
        "baked_at": pa.array(at, pa.timestamp("us")).cast(pa.timestamp("us", tz="UTC")),
    }
    return pa.table([pa.array(columns[field.name], field.type) for field in schema], schema=schema)


@contextmanager
def _beside(path: Path) -> Iterator[Path]:
    """A file to write that takes ``path``'s place when all went well: a reader never sees half a partition."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        os.close(handle)
        try:
            yield Path(name)
            os.chmod(name, 0o644)
            os.replace(name, path)
        finally:
            Path(name).unlink(missing_ok=True)
    except OSError as error:
        why = error.strerror or str(error)
        raise InputError(
            f"{path} cannot be written: {why}.", where=str(path.parent), try_this="another folder with --parquet"
        ) from error
