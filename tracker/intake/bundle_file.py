"""Is this file a bundle of ours, whole and harmless?

Read without unpacking anything onto the disk: sizes are bounded before a byte is unpacked, every
file is held against its hash, every row against its table's columns and kinds.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import zipfile
import zlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError, create_model
from sqlmodel import SQLModel

from tracker.errors import InputError, IntegrityError, NotFound

FORMAT, FORMAT_VERSION = "crumbwise trial", 1
DESCRIPTION, RECORD = "datapackage.json", "record.json"
MAX_PACKED = 256_000_000
MAX_UNPACKED = 1_000_000_000
MAX_FILES = 64


@dataclass(frozen=True, kw_only=True)
class Bundle:
    """``rows``: table name -> its rows as they stood in the other kitchen, numbers included; ``source``: file name."""

    source: str
    trial: str
    content_sha256: str
    made_with: str
    rows: Mapping[str, tuple[Mapping[str, Any], ...]]


def read_bundle(
    path: str | Path, tables: Mapping[str, type[SQLModel]], *, may_be_missing: Collection[str] = ()
) -> Bundle:
    """Read and check. Raises NotFound, InputError (no bundle of ours) and IntegrityError (changed on its way)."""
    path = Path(path)
    files = _files(path)
    about = _about(path, files)
    for name, said in about["files"].items():
        if name not in files:
            raise _broken(path, f"{name} is missing from it")
        if hashlib.sha256(files[name]).hexdigest() != said:
            raise _broken(path, f"{name} is not what it was when the bundle was made")
    if RECORD not in about["files"]:
        raise _broken(path, f"{RECORD} is missing from it")
    return Bundle(
        source=path.name,
        trial=about["trial"],
        content_sha256=about["content_sha256"],
        made_with=about["made_with"],
        rows=_rows(path, files[RECORD], tables, may_be_missing),
    )


def _files(path: Path) -> dict[str, bytes]:
    try:
        size = path.stat().st_size
        if size > MAX_PACKED:
            raise _no_bundle(path, f"has {size / 1e6:.0f} MB; at most {MAX_PACKED / 1e6:.0f} MB are read")
        with zipfile.ZipFile(io.BytesIO(path.read_bytes())) as archive:
            members = archive.infolist()
            unpacked = sum(member.file_size for member in members)
            if len(members) > MAX_FILES or unpacked > MAX_UNPACKED:
                raise _no_bundle(path, f"would unpack to {len(members)} files and {unpacked / 1e6:.0f} MB")
            return {member.filename: _unpacked(archive, member) for member in members}
    except FileNotFoundError as error:
        raise NotFound(f"There is no file {path}.", where=str(path), try_this="look at its name again") from error
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, RuntimeError) as error:
        raise _no_bundle(path, "is no zip that can be read") from error
    except OSError as error:
        raise _no_bundle(path, f"cannot be read: {error.strerror or error}") from error


def _unpacked(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> bytes:
    """What the directory promised and no more: a zip may lie about its sizes."""
    with archive.open(member) as stream:
        data = stream.read(member.file_size + 1)
    if len(data) > member.file_size:
        raise zipfile.BadZipFile("longer than promised")
    return data


def _about(path: Path, files: Mapping[str, bytes]) -> dict[str, Any]:
    try:
        about = json.loads(files[DESCRIPTION].decode("utf-8"))["crumbwise"]
        known = about["format"] == FORMAT and isinstance(about["files"], dict)
        texts = all(isinstance(about[name], str) for name in ("trial", "content_sha256", "made_with"))
        newer = about["format_version"] > FORMAT_VERSION
    except (KeyError, TypeError, ValueError, RecursionError) as error:
        raise _no_bundle(path, "is no bundle of a trial") from error
    if not known or not texts:
        raise _no_bundle(path, "is no bundle of a trial")
    if newer:
        raise InputError(
            f"{path.name} was made by a newer crumbwise ({about['made_with']}).",
            where=str(path),
            try_this="bring crumbwise up to date, then unpack again",
        )
    return dict(about)


def _rows(
    path: Path, text: bytes, tables: Mapping[str, type[SQLModel]], may_be_missing: Collection[str]
) -> dict[str, tuple[Mapping[str, Any], ...]]:
    try:
        record = json.loads(text.decode("utf-8"), parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise _no_bundle(path, f"holds a {RECORD} that cannot be read") from error
    if not isinstance(record, dict) or {*record, *may_be_missing} != {*tables, *may_be_missing}:
        raise _no_bundle(path, f"holds a {RECORD} with other tables than a trial has")
    rows: dict[str, tuple[Mapping[str, Any], ...]] = {}
    for name, table in tables.items():
        given = record.get(name, [])
        if not isinstance(given, list):
            raise _no_bundle(path, f"holds a {RECORD} whose {name} is no list")
        rows[name] = tuple(_row(path, name, at, row, table) for at, row in enumerate(given, start=1))
    return rows


def _row(path: Path, name: str, at: int, row: Any, table: type[SQLModel]) -> dict[str, Any]:
    try:
        checked = _door(table).model_validate(row).model_dump()
        if "content" in checked:
            checked["content"] = base64.b64decode(checked["content"], validate=True)
    except (ValueError, TypeError) as error:  # pydantic's and base64's errors are ValueErrors
        first = error.errors()[0] if isinstance(error, ValidationError) else {"loc": ("content",), "msg": "no base64"}
        column = ".".join(map(str, first["loc"])) or "the row"
        raise InputError(
            f"{column} does not fit: {first['msg']}.",
            where=f"{path.name}, {RECORD}, {name}, row {at}",
            try_this="make the bundle again where the trial was baked",
        ) from error
    return checked


@cache
def _door(table: type[SQLModel]) -> type[BaseModel]:
    """The table's columns as a strict model: SQLModel itself checks nothing for a table."""
    columns: dict[str, Any] = {}
    for name, field in table.model_fields.items():
        kind: Any = str if field.annotation is bytes else int if name == "id" else field.annotation
        columns[name] = (kind, ...)
    strict = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)
    return create_model(f"{table.__name__}Row", __config__=strict, **columns)


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number of a record")


def _no_bundle(path: Path, why: str) -> InputError:
    return InputError(f"{path.name} {why}.", where=str(path), try_this="crumbwise trial bundle TRIAL makes one")


def _broken(path: Path, why: str) -> IntegrityError:
    return IntegrityError(
        f"{path.name} was changed or damaged: {why}. Nothing was taken in.",
        where=str(path),
        try_this="ask for the bundle again",
    )
