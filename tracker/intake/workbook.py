"""Is this workbook safe to open, and what stands in its sheet?

Before anything unpacks it, the archive is measured: members, unpacked size (counted, not
believed), ratio, and the rectangle its cells span. A workbook that would fill the memory
is refused in words.
"""

from __future__ import annotations

import copy
import io
import re
import zipfile
import zlib
from datetime import date, datetime
from typing import Any

from tracker.errors import InputError, NotFound

MAX_MEMBERS = 1_000
MAX_UNPACKED = 100_000_000
MAX_RATIO = 100
_CELL = re.compile(rb"<(?:\w+:)?c\b([^>]*)>")
_PLACE = re.compile(rb'\br="([A-Z]{1,3})([0-9]{1,7})"')


def read_workbook(
    content: bytes, name: str, *, sheet: str | None, max_cells: int
) -> tuple[str, list[list[str]], list[str]]:
    """Title, cells as texts (row 1 first) and notes of the sheet asked for (else the first visible one)."""
    measure(content, name, max_cells=max_cells)
    from python_calamine import CalamineError, CalamineWorkbook, SheetVisibleEnum

    try:
        with CalamineWorkbook.from_filelike(io.BytesIO(content)) as book:
            seen = [meta.name for meta in book.sheets_metadata if meta.visible == SheetVisibleEnum.Visible]
            title = _choose(book.sheet_names, seen, sheet, name)
            opened = book.get_sheet_by_name(title)
            rows = opened.to_python(skip_empty_area=False)
            merged = opened.merged_cell_ranges or []
    except CalamineError as error:
        raise InputError(f"{name} is damaged and cannot be read: {error}.", where=name, try_this=_SAVE) from error
    notes = []
    if sheet is None and len(seen) > 1:
        notes.append(f'{name} has {len(seen)} sheets; "{title}" was read.')
    if merged:
        notes.append(f'{name}, sheet "{title}": merged cells keep their value in the first cell only.')
    return title, [[_text(cell) for cell in row] for row in rows], notes


_SAVE = "save it again as .xlsx or as CSV"


def _choose(names: list[str], seen: list[str], sheet: str | None, name: str) -> str:
    if sheet is None:
        if seen or names:
            return (seen or names)[0]
        raise InputError(f"{name} has no sheet.", where=name, try_this=_SAVE)
    if sheet in names:
        return sheet
    from difflib import get_close_matches

    folded = {each.casefold(): each for each in names}
    near = get_close_matches(sheet.casefold(), folded, n=1, cutoff=0.5)
    listed = ", ".join(f'"{each}"' for each in names)
    raise NotFound(
        f'{name} has no sheet "{sheet}"; it has {listed}.',
        where=name,
        try_this=f'--sheet "{folded[near[0]] if near else names[0]}"',
    )


def _text(cell: Any) -> str:
    """A cell as the text a person would type; whole numbers lose the ".0" the file format gives them."""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ") if cell.time() != datetime.min.time() else cell.date().isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    return str(cell)


def measure(content: bytes, name: str, *, max_cells: int) -> None:
    """Refuse what is no workbook, is locked, or would unpack beyond all measure."""
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        if "EncryptedPackage".encode("utf-16-le") in content:
            raise InputError(
                f"{name} is locked with a password.", where=name, try_this="save a copy without a password"
            )
        raise InputError(f"{name} is an old .xls workbook.", where=name, try_this=_SAVE)
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            _measure_archive(archive, len(content), name, max_cells)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, OSError) as error:
        raise InputError(f"{name} is damaged: {error}.", where=name, try_this=_SAVE) from error


def _measure_archive(archive: zipfile.ZipFile, packed: int, name: str, max_cells: int) -> None:
    members = archive.infolist()
    names = {member.filename for member in members}
    if len(members) > MAX_MEMBERS:
        raise _bomb(name, f"holds {len(members)} parts; at most {MAX_MEMBERS} are read")
    if any(member.flag_bits & 1 for member in members):
        raise InputError(f"{name} is locked with a password.", where=name, try_this="save a copy without a password")
    if "xl/workbook.xml" not in names:
        raise InputError(f"{name} is a packed file, but no .xlsx workbook.", where=name, try_this=_SAVE)
    limit = min(MAX_UNPACKED, MAX_RATIO * packed)
    if sum(member.file_size for member in members) > limit:
        raise _too_large(name, packed, limit)
    left = limit
    for member in members:
        data = _unpacked(archive, member, left + 1)
        left -= len(data)
        if left < 0:  # the archive lied about its sizes
            raise _too_large(name, packed, limit)
        if member.filename.startswith("xl/worksheets/") and member.filename.endswith(".xml"):
            _measure_sheet(data, name, max_cells)


def _unpacked(archive: zipfile.ZipFile, member: zipfile.ZipInfo, cap: int) -> bytes:
    true = copy.copy(member)
    true.file_size = cap  # read on past the size the archive states, up to the cap
    chunks, got = [], 0
    with archive.open(true) as stream:
        stream._expected_crc = None  # type: ignore[attr-defined]  # only the size is checked here
        while got < cap and (chunk := stream.read(min(1 << 20, cap - got))):
            chunks.append(chunk)
            got += len(chunk)
    return b"".join(chunks)


def _measure_sheet(data: bytes, name: str, max_cells: int) -> None:
    """The rectangle from A1 to the last filled cell, since readers fill it whole."""
    rows = columns = count = 0
    for cell in _CELL.finditer(data):
        if cell[1].endswith(b"/"):
            continue
        count += 1
        place = _PLACE.search(cell[1])
        if place:
            rows, columns = max(rows, int(place[2])), max(columns, _column_number(place[1]))
    if max(count, rows * columns) > max_cells:
        raise _bomb(name, f"has a sheet of {rows} rows and {columns} columns; at most {max_cells} cells are read")


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + letter - 64
    return number


def _too_large(name: str, packed: int, limit: int) -> InputError:
    return _bomb(name, f"({packed / 1000:.0f} kB) unpacks to more than {limit / 1e6:.0f} MB")


def _bomb(name: str, why: str) -> InputError:
    return InputError(
        f"{name} {why}.", where=name, try_this="copy the readings alone into a new workbook, or save the sheet as CSV"
    )
