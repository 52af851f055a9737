"""Are spreadsheets read as texts, and bad ones refused in words?"""

from __future__ import annotations

import io
import struct
import time
import zipfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracker.errors import InputError, NotFound
from tracker.intake.spreadsheet import nearest, parse, read_spreadsheet

TABLE = "code;rise height;note\n101;42,5;gummy\n102;;été\n"


def workbook(*rows: tuple[object, ...], title: str = "Readings", others: tuple[str, ...] = ()) -> bytes:
    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(list(row))
    for other in others:
        book.create_sheet(other)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_text_files_of_any_make_read_the_same(encoding: str, end: str) -> None:
    sheet = parse(TABLE.replace("\n", end).encode(encoding), "a.csv")
    assert sheet.header == ("code", "rise height", "note")
    assert sheet.rows == (("101", "42,5", "gummy"), ("102", "", "été"))
    assert bool(sheet.notes) == (encoding == "cp1252")


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_separators_and_quotes(separator: str) -> None:
    text = separator.join(["code", "note"]) + "\n" + separator.join(["101", '"a ""fine"" crumb, moist; firm\tsoft"'])
    assert parse(text.encode(), "a.csv").rows == (("101", 'a "fine" crumb, moist; firm\tsoft'),)


def test_rows_keep_their_place_in_the_file() -> None:
    sheet = parse(b'sep=;\r\n\r\ncode;note\r\n1;"two\r\nlines"\r\n\r\n2;x\r\n', "a.csv")
    assert sheet.rows == (("1", "two\r\nlines"), ("2", "x"))
    assert sheet.places == (4, 7)
    assert sheet.place(1, "note") == 'a.csv, row 7, column "note"'


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b" \n\n", "is empty"),
        (b"a,b\n", "has a header and no rows"),
        (b"a,,b\n1,2,3\n", "Column 2 has no name"),
        (b"a,A \n1,2\n", "Two columns are called"),
        (b"a,b\n1,42,5\n", "The row has 3 cells, the header 2"),
        (b'a,b\n1,"open\n', "cannot be read as CSV"),
        (b"a\0b\n1\n", "not a text file"),
        (b"\xff\xfea", "UTF-16"),
        (b"a\x81\n1\n", "no CP1252 text"),
        (b"PK\x03\x04nothing", "is damaged"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "an old .xls"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + "EncryptedPackage".encode("utf-16-le"), "locked with a password"),
    ],
)
def test_bad_content_is_refused(content: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        parse(content, "a.csv")
    assert caught.value.where.startswith("a.csv")
    assert caught.value.try_this


def test_a_text_that_calls_itself_a_workbook() -> None:
    with pytest.raises(InputError, match="not a workbook"):
        parse(b"a,b\n1,2\n", "a.xlsx")


def test_only_the_empty_cell_is_missing() -> None:
    sheet = parse(b"code,x\n1,NA\n2,null\n3,-\n4,\n", "a.csv")
    assert sheet.column("x") == ("NA", "null", "-", "")


def test_workbooks_come_as_the_texts_people_typed() -> None:
    content = workbook(("code", "rise", "ok"), (101, 0.1, True), ("007", 42, "=1+1"))
    sheet = parse(content, "a.xlsx")
    assert sheet.sheet == "Readings"
    assert sheet.rows[0] == ("101", "0.1", "yes")
    assert sheet.rows[1][:2] == ("007", "42")


def test_wrong_sheet_names_those_there_are(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    path.write_bytes(workbook(("a",), (1,), others=("Notes",)))
    with pytest.raises(NotFound, match='it has "Readings", "Notes"') as caught:
        read_spreadsheet(path, sheet="readngs")
    assert caught.value.try_this == '--sheet "Readings"'
    assert "2 sheets" in read_spreadsheet(path).notes[0]


def test_missing_and_large_files(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no file"):
        read_spreadsheet(tmp_path / "none.csv")
    large = tmp_path / "large.csv"
    large.write_bytes(b"a\n" + b"1\n" * 5_000_001)
    with pytest.raises(InputError, match=r"10\.0 MB"):
        read_spreadsheet(large)


def with_sheet(xml: bytes, *, members: int = 0) -> bytes:
    """A real workbook whose sheet part is replaced."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook(("a",), (1,)))) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for member in old.infolist():
            new.writestr(member, xml if "sheet1" in member.filename else old.read(member))
        for number in range(members):
            new.writestr(f"extra/{number}", b"x")
    return out.getvalue()


CELLS = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>%s</sheetData></worksheet>'
BOMBS = {
    "one that swells": with_sheet(CELLS % (b"<row><c><v>1</v></c></row>" * 2_600_000)),
    "one with many parts": with_sheet(CELLS % b"", members=1_001),
    "one with a far corner": with_sheet(
        CELLS % b'<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    ),
}


@pytest.mark.parametrize("kind", BOMBS)
def test_bombs_are_refused_at_once(kind: str) -> None:
    begun = time.perf_counter()
    with pytest.raises(InputError) as caught:
        parse(BOMBS[kind], "bomb.xlsx")
    assert time.perf_counter() - begun < 1.0  # the bound; it takes a few ms
    assert "bomb.xlsx" in caught.value.what


def test_an_archive_that_lies_about_its_size_is_counted() -> None:
    honest = BOMBS["one that swells"]
    at = honest.rindex(b"PK\x01\x02", 0, honest.rindex(b"sheet1.xml"))
    size = struct.unpack_from("<I", honest, at + 24)[0]
    assert size > 60_000_000
    lying = honest.replace(struct.pack("<I", size), struct.pack("<I", 1_000))
    with pytest.raises(InputError, match="unpacks to more than"):
        parse(lying, "bomb.xlsx")


def test_nearest_needs_likeness() -> None:
    assert nearest("rise_heigth", ["rise height", "score"]) == "rise height"
    assert nearest("zzz", ["rise height"]) is None


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300), st.sampled_from(["a.csv", "a.xlsx"]))
def test_any_bytes_are_read_or_refused(content: bytes, name: str) -> None:
    refused = None
    try:
        sheet = parse(content, name)
        assert all(len(row) == len(sheet.header) for row in sheet.rows)
    except (InputError, NotFound) as error:
        refused = error
    assert refused is None or (refused.what and refused.try_this)


def test_the_nearest_name_is_a_like_one_or_the_only_one_it_is_a_part_of():
    assert nearest("Rise_heigth", ["piece", "rise height"]) == "rise height"
    assert nearest("rise", ["piece", "person", "rise height mm"]) == "rise height mm"
    assert nearest("rise", ["rise height mm", "rise of the middle"]) is None
    assert nearest("pH", ["piece", "crumb pH of the middle"]) is None  # too short to go by
