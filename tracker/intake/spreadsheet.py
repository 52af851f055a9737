"""What does this spreadsheet say, cell by cell?

CSV (UTF-8, UTF-16, Windows-1252; ``,`` ``;`` or tab) and XLSX become one table of texts.
Nothing is typed here and nothing is guessed to be missing: only an empty cell is empty.
"""

from __future__ import annotations

import csv
import hashlib
import io
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

from tracker.errors import InputError, NotFound
from tracker.intake.workbook import read_workbook

MAX_BYTES = 10_000_000
MAX_CELLS = 2_000_000


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """One table as texts, blanks around them included, since they tell one level from another.

    ``rows[i]`` stood in row ``places[i]`` of the file (1 = first line).
    """

    source: str
    sheet: str | None
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    places: tuple[int, ...]
    content: bytes = field(repr=False)
    notes: tuple[str, ...] = ()

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.content).hexdigest()

    def column(self, name: str) -> tuple[str, ...]:
        at = self.header.index(name)
        return tuple(row[at] for row in self.rows)

    def place(self, index: int, column: str = "") -> str:
        """Where a value stands: file, sheet, row, column."""
        parts = [self.source, f'sheet "{self.sheet}"' if self.sheet else "", f"row {self.places[index]}"]
        return ", ".join([part for part in parts if part] + ([f'column "{column}"'] if column else []))


def read_spreadsheet(path: str | Path, *, sheet: str | None = None) -> Sheet:
    """Read a CSV or XLSX file; InputError or NotFound says what is wrong with it."""
    path = Path(path)
    if not path.is_file():
        raise NotFound(f"There is no file {path}.", where=str(path.parent), try_this="check the file's name")
    try:
        size = path.stat().st_size
        content = path.read_bytes() if size <= MAX_BYTES else b""
    except OSError as error:
        raise InputError(
            f"{path} cannot be read: {error.strerror}.", where=str(path), try_this="check its rights"
        ) from error
    if size > MAX_BYTES:
        raise InputError(
            f"{path.name} has {size / 1e6:.1f} MB; at most {MAX_BYTES / 1e6:.0f} MB are read.",
            where=str(path),
            try_this="keep only the sheet with the readings, or split the file",
        )
    return parse(content, path.name, sheet=sheet)


def parse(content: bytes, name: str, *, sheet: str | None = None) -> Sheet:
    """The table in ``content``; the content decides what kind of file it is, not its name."""
    if not content.strip():
        raise InputError(f"{name} is empty.", where=name, try_this="give a file with a header line and rows below it")
    if content[:4] in (b"PK\x03\x04", b"PK\x05\x06") or content[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        title, cells, notes = read_workbook(content, name, sheet=sheet, max_cells=MAX_CELLS)
        return _table(cells, name, title, content, notes)
    if name.lower().endswith((".xlsx", ".xlsm", ".xls", ".ods")):
        raise InputError(f"{name} is not a workbook.", where=name, try_this="save it again as .xlsx or as CSV")
    if sheet is not None:
        raise InputError(f'{name} is a CSV file and has no sheet "{sheet}".', where=name, try_this="leave --sheet out")
    text, notes = decode(content, name)
    return _table(_csv_cells(text, name), name, None, content, notes)


def decode(content: bytes, name: str) -> tuple[str, list[str]]:
    """The text of a CSV file and what had to be assumed about it."""
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if content.startswith(mark):
            return _decoded(content[len(mark) :], encoding, name), []
    half = len(content[:2000]) // 2
    for offset, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        if half > 1 and content[offset : 2 * half : 2].count(0) > 0.6 * half:
            return _decoded(content, encoding, name), []
    if b"\0" in content:
        raise InputError(f"{name} is not a text file.", where=name, try_this="save it as CSV (UTF-8) or .xlsx")
    try:
        return content.decode("utf-8"), []
    except UnicodeDecodeError:
        note = f"{name} is not UTF-8; it was read as Windows-1252. Check names with accents."
        return _decoded(content, "cp1252", name), [note]


def _decoded(content: bytes, encoding: str, name: str) -> str:
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as error:
        raise InputError(
            f"{name} holds bytes that are no {encoding.upper()} text (byte {error.start}).",
            where=name,
            try_this="save it as CSV (UTF-8) or .xlsx",
        ) from error


def _csv_cells(text: str, name: str) -> list[list[str]]:
    separator = None
    first, _, rest = text.partition("\n")
    if first.strip().lower().startswith("sep=") and len(first.strip()) == 5:
        separator, text = first.strip()[4], "\n" + rest  # the blank line keeps the row numbers right
    try:
        return _split(text, separator or _separator(text))
    except csv.Error as error:
        raise InputError(
            f"{name} cannot be read as CSV: {error}.", where=name, try_this='check that each " that opens also closes'
        ) from error


def _split(text: str, separator: str) -> list[list[str]]:
    """Rows at their place in the file: quoted line breaks leave empty rows behind, so that numbers stay right."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[list[str]] = []
    for row in reader:
        rows.append(row)
        if reader.line_num > len(rows):
            rows.extend([] for _ in range(reader.line_num - len(rows)))
        if len(rows) * (len(row) or 1) > MAX_CELLS:
            raise csv.Error(f"more than {MAX_CELLS} cells")
    return rows


def _separator(text: str) -> str:
    """The one of ; tab , that splits the first written line into most columns."""
    sample = next((line for line in io.StringIO(text, newline="") if line.strip()), "")

    def columns(separator: str) -> int:
        try:
            return len(next(csv.reader([sample], delimiter=separator)))
        except csv.Error:
            return 0

    return max(";\t,", key=columns) if max(map(columns, ";\t,")) > 1 else ","


def _table(cells: list[list[str]], name: str, title: str | None, content: bytes, notes: list[str]) -> Sheet:
    filled = [(at, row) for at, row in enumerate(cells, start=1) if "".join(row).strip()]
    where = f'{name}, sheet "{title}"' if title else name
    if not filled:
        raise InputError(f"{where} is empty.", where=where, try_this="give a header line and rows below it")
    header = _header(filled[0][1], f"{where}, row {filled[0][0]}")
    if len(filled) == 1:
        raise InputError(
            f"{where} has a header and no rows.", where=where, try_this="add the readings below the header"
        )
    width = len(header)
    rows = [tuple(row) if len(row) == width else _row(row, width, f"{where}, row {at}") for at, row in filled[1:]]
    return Sheet(
        source=name,
        sheet=title,
        header=header,
        rows=tuple(rows),
        places=tuple(at for at, _ in filled[1:]),
        content=content,
        notes=tuple(notes),
    )


def _header(row: list[str], where: str) -> tuple[str, ...]:
    names = [cell.strip() for cell in row]
    while names and not names[-1]:
        names.pop()
    for at, column in enumerate(names, start=1):
        if not column:
            raise InputError(f"Column {at} has no name.", where=where, try_this="name each column in the first row")
    seen: dict[str, str] = {}
    for column in names:
        known = seen.setdefault(" ".join(column.casefold().split()), column)
        if known is not column:
            raise InputError(
                f'Two columns are called "{column}".', where=where, try_this="give each column a name of its own"
            )
    return tuple(names)


def _row(row: list[str], width: int, where: str) -> tuple[str, ...]:
    if "".join(row[width:]).strip():
        raise InputError(
            f"The row has {len(row)} cells, the header {width}.",
            where=where,
            try_this='put a number with a decimal comma in quotes ("42,5"), or separate columns with ;',
        )
    return tuple(row[:width]) + ("",) * (width - len(row))


def nearest(name: str, known: list[str] | tuple[str, ...]) -> str | None:
    """The known name most like ``name``, when one is like it at all; else the only one that ``name`` is a part of."""
    folded = {" ".join(each.casefold().replace("_", " ").split()): each for each in known}
    asked = " ".join(name.casefold().replace("_", " ").split())
    found = get_close_matches(asked, folded, n=1, cutoff=0.6)
    if not found:
        within = [each for each in folded if len(asked) > 2 and asked in each]
        found = within if len(within) == 1 else []
    return folded[found[0]] if found else None
