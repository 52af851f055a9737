"""How do the tables of a report get into a spreadsheet?

As CSV, one file for each table, or as one workbook with a sheet for each. Numbers carry the digits
that the report shows; the trial's export has the readings with all of theirs.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

from analysis.words.numbers import number_shown
from reports.figures.picture import Table
from reports.sections.blocks import Grid, Picture, Section

LONGEST_NAME = 31  # characters of a sheet's name in a workbook
_NO_TIME = datetime(1980, 1, 1, tzinfo=UTC)  # the first moment a zip can write
_DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "'")  # a spreadsheet would run the text as a formula


def tables_of(sections: Sequence[Section]) -> dict[str, tuple[str, Table]]:
    """File name without ending -> (caption, table), in the order of the page."""
    found: dict[str, tuple[str, Table]] = {}
    for section in sections:
        number = 0
        for block in section.blocks:
            if isinstance(block, Picture):
                caption, table = block.figure.alt, block.figure.table
            elif isinstance(block, Grid):
                caption, table = block.caption, block.table
            else:
                continue
            number += 1
            found[f"{section.key}-{number}"] = (caption, table)
    return found


def as_csv(table: Table) -> bytes:
    """One table, its column names first; for spreadsheets marked as UTF-8."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow([guarded(name) for name in table.columns])
    writer.writerows([[_cell(cell) for cell in row] for row in table.rows])
    return out.getvalue().encode("utf-8-sig")


def as_workbook(tables: Mapping[str, tuple[str, Table]]) -> bytes:
    """All tables in one XLSX, each under its caption; numbers are numbers, texts never formulas."""
    import xlsxwriter

    out = io.BytesIO()
    plain = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(out, {"in_memory": True, **plain}) as book:
        book.set_properties({"created": _NO_TIME})  # else the file tells when it was made
        bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        for name, (caption, table) in tables.items():
            sheet = book.add_worksheet(_sheet_name(name))
            sheet.write_string(0, 0, caption)
            for column, head in enumerate(table.columns):
                sheet.write_string(1, column, head, bold)
            for at, row in enumerate(table.rows, start=2):
                for column, cell in enumerate(row):
                    number = number_shown(cell)
                    if number is None:
                        sheet.write_string(at, column, cell)
                    else:
                        sheet.write_number(at, column, number)
            sheet.freeze_panes(2, 1)
            sheet.autofit(220)
        if not tables:
            book.add_worksheet("no tables")
    return out.getvalue()


def _cell(cell: str) -> str:
    number = number_shown(cell)
    return guarded(cell) if number is None else cell.replace("\N{MINUS SIGN}", "-").replace(",", ".").lstrip("+")


def guarded(text: str) -> str:
    """A text that no spreadsheet takes for a formula (an import of ours takes the quote off again)."""
    return f"'{text}" if text.startswith(_DANGEROUS) else text


def _sheet_name(name: str) -> str:
    return re.sub(r"[\[\]:*?/\\]", " ", name)[:LONGEST_NAME]
