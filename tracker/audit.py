"""How does one audit entry follow from the entry before it?

Canonical JSON has sorted keys, no spaces, characters as they are, and floats in their
shortest exact form, so that the same content gives the same bytes on every database.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from functools import cache
from typing import Any

from sqlalchemy import BigInteger
from sqlalchemy.types import TypeDecorator, TypeEngine
from sqlmodel import SQLModel

from tracker.errors import InputError
from tracker.models import AuditEntry, PersonDetails

FIRST_PREVIOUS_HASH = "0" * 64
_ENTRY_FIELDS = tuple(name for name in AuditEntry.model_fields if name != "hash")


_ENCODER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def canonical(content: Any) -> str:
    """Canonical JSON text; NaN and infinity are refused (ValueError)."""
    return _ENCODER.encode(content)


def sha256(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def entry_hash(entry: Mapping[str, Any]) -> str:
    """SHA-256 over the canonical JSON of every field of an entry but ``hash``."""
    return sha256(canonical({name: entry[name] for name in _ENTRY_FIELDS}))


def row_content(row: SQLModel) -> dict[str, Any]:
    """What an audit entry keeps of a row: every column, files by their hash, of a person's details the number only."""
    return content_of(type(row), {name: getattr(row, name) for name, _ in _columns(type(row))})


def content_of(table: type[SQLModel], values: Mapping[str, Any]) -> dict[str, Any]:
    """The same from a plain mapping of the row's columns."""
    if table is PersonDetails:
        return {"person_id": values["person_id"]}
    return {name: kept(value) for name, value in values.items()}


def row_key(row: SQLModel) -> int:
    """The number a row is known by in audit entries."""
    return row.person_id if isinstance(row, PersonDetails) else row.id  # type: ignore[attr-defined]


def kept(value: Any) -> Any:
    """A value as an entry keeps it: of bytes their hash."""
    return "sha256:" + hashlib.sha256(value).hexdigest() if isinstance(value, bytes) else value


def settle(row: SQLModel) -> None:
    """Bring every value of a row to the form in which both databases give it back.

    Raises InputError for what one of them would refuse or change: NUL characters and half
    surrogates in text, numbers that are not finite, whole numbers too large for the column.
    """
    for name, kind in _columns(type(row)):
        value = getattr(row, name)
        if value is not None:
            settled = _settled(value, kind, f"{row.__tablename__}.{name}")
            if settled is not value:
                setattr(row, name, settled)


def settled_columns(table: type[SQLModel], columns: Mapping[str, Any]) -> dict[str, Any]:
    """Every column of many rows but their numbers, as ``settle`` leaves each value.

    A list has one value for each row; anything else stands in every row, and so does the usual value of what is not
    given.
    """
    told = {**_usual(table), **columns}
    if unknown := told.keys() - {name for name, _ in _columns(table)}:
        raise RuntimeError(f"{table.__tablename__} has no {unknown}.")
    return {
        name: _settled_column(told[name], kind, f"{table.__tablename__}.{name}")
        for name, kind in _columns(table)
        if name != "id"
    }


def _settled_column(values: Any, kind: type, where: str) -> Any:
    if not isinstance(values, list):
        return None if values is None else _settled(values, kind, where)
    if set(map(type, values)) == {kind} and _all_fit(values, kind):
        return [value + 0.0 for value in values] if kind is float else values
    return [None if value is None else _settled(value, kind, where) for value in values]


def _all_fit(values: list[Any], kind: type) -> bool:
    """Would the record take each of these? Asked of all at once, which is quick; if not, each is looked at."""
    if kind is str:
        text = "".join(values)
        return text.isascii() and "\x00" not in text
    if kind is float:
        return all(map(math.isfinite, values))
    return kind is int and min(values) >= -(2**31) and max(values) < 2**31


@cache
def _usual(table: type[SQLModel]) -> dict[str, Any]:
    """The usual value of each column that has one, but the number's."""
    return {
        name: field.get_default(call_default_factory=True)
        for name, field in table.model_fields.items()
        if name != "id" and not field.is_required()
    }


@cache
def _columns(table: type[SQLModel]) -> tuple[tuple[str, type], ...]:
    columns = table.__table__.columns  # type: ignore[attr-defined]
    return tuple((column.name, _kind(column.type)) for column in columns)


def _kind(column_type: TypeEngine[Any]) -> type:
    if isinstance(column_type, TypeDecorator):  # texts of SQLModel
        column_type = column_type.impl_instance
    return BigInteger if isinstance(column_type, BigInteger) else column_type.python_type


def _settled(value: Any, kind: type, where: str) -> Any:
    if kind is str:
        return _settled_text(value, where)
    if kind is float:
        return _settled_float(value, where)
    if kind is bool:
        return bool(value)
    if kind is bytes:
        return bytes(value)
    return _settled_whole(value, 63 if kind is BigInteger else 31, where)


def _settled_text(value: Any, where: str) -> str:
    if not isinstance(value, str):
        raise InputError(f"{value!r} is not a text.", where=where, try_this="write it as words")
    text = str(value) if type(value) is not str else value
    if "\x00" in text:
        raise InputError("The text holds a NUL character.", where=where, try_this="remove it; no database keeps it")
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise InputError(
            "The text holds half a character (a lone surrogate).", where=where, try_this="type the text again"
        ) from None
    return text


def _settled_float(value: Any, where: str) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError):
        raise InputError(f"{value!r} is not a number.", where=where, try_this="give a plain number") from None
    if not math.isfinite(number):
        raise InputError(
            f"{number} is not a number that can be recorded.", where=where, try_this="leave it out if it is missing"
        )
    return number + 0.0  # SQLite gives -0.0 back as 0.0


def _settled_whole(value: Any, bits: int, where: str) -> int:
    try:
        number = int(value)
    except (TypeError, ValueError, OverflowError):
        number = None
    if number is None or number != value:
        raise InputError(f"{value!r} is not a whole number.", where=where, try_this="give a whole number")
    if not -(2**bits) <= number < 2**bits:
        raise InputError(f"{number} is too large.", where=where, try_this=f"stay below {2**bits}")
    return number
