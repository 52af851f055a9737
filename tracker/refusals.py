"""What did the database refuse, and what can be done about it?

Turns the drivers' errors of SQLite and PostgreSQL into our own sentences.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as NoneFree

from tracker.errors import Busy, Conflict, Full, InputError, IntegrityError, TrackerError, Unreachable
from tracker.settings import BUSY_SECONDS

# Message of our triggers; the rest of the sentence names the table.
TRIGGER_MARK = "crumbwise: "

_LOCKED = {"SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_PROTOCOL", "55P03", "40001", "40P01"}
_FULL = {"SQLITE_FULL", "53100"}
_READ_ONLY = {"SQLITE_READONLY", "SQLITE_PERM", "SQLITE_AUTH", "25006", "42501"}
_NO_FILE = {"SQLITE_CANTOPEN", "3D000"}
_GONE = {"57P01", "57P02", "57P03", "08000", "08001", "08003", "08004", "08006"}
_DAMAGED = {"SQLITE_CORRUPT", "SQLITE_NOTADB", "XX001", "XX002"}
_TAKEN = {"SQLITE_CONSTRAINT_UNIQUE", "SQLITE_CONSTRAINT_PRIMARYKEY", "SQLITE_CONSTRAINT_ROWID", "23505"}
_UNKNOWN_ROW = {"SQLITE_CONSTRAINT_FOREIGNKEY", "23503"}
_IMPOSSIBLE = {"SQLITE_CONSTRAINT_CHECK", "SQLITE_CONSTRAINT_NOTNULL", "23514", "23502", "22003", "22021", "22P05"}


@contextmanager
def in_words(where: str) -> Iterator[None]:
    """Raise our own error in place of a driver's."""
    try:
        yield
    except DBAPIError as error:
        raise refusal(error.orig or error, where) from error
    except NoneFree as error:  # no connection of the pool came free
        raise Busy(
            "More is asked of the kitchen at once than it answers. Nothing was stored.",
            where=where,
            try_this="the same in a moment",
        ) from error
    except sqlite3.Error as error:
        raise refusal(error, where) from error


def refusal(driver: BaseException, where: str) -> TrackerError:
    """Our own error for one of a driver's; ``where`` names the kitchen."""
    code = _code(driver)
    said = (str(driver).strip().splitlines() or [""])[0]
    if TRIGGER_MARK in said:
        return Conflict(
            said.partition(TRIGGER_MARK)[2], where=where, try_this="record a correction or a void with its reason"
        )
    for known, answer in (
        (_LOCKED, _locked),
        (_FULL, _full),
        (_READ_ONLY, _read_only),
        (_NO_FILE, _no_file),
        (_DAMAGED, _damaged),
    ):
        if code in known:
            return answer(where)
    if code in _TAKEN:
        return Conflict(f"This stands in the record already ({said}).", where=where, try_this="choose another name")
    if code in _UNKNOWN_ROW:
        return InputError(
            "The row names something that is not in the record.", where=f"{where}: {said}", try_this="record that first"
        )
    if code in _IMPOSSIBLE:
        return InputError(
            f"The record does not take this value ({said}).", where=where, try_this="check the value and its unit"
        )
    if not code and "NUL" in said:  # the driver of PostgreSQL does not even send it
        return InputError("The text holds a NUL character.", where=where, try_this="remove it; no database keeps it")
    if code in _GONE or (not code and "connect" in said.lower()):
        return Unreachable(
            f"No database server answers ({said}).", where=where, try_this="start the server, or check the address"
        )
    return TrackerError(f"The database refused: {said}", where=where, try_this="crumbwise records check")


def _code(driver: BaseException) -> str:
    """SQLite's error name (of an I/O error the family only), PostgreSQL's SQLSTATE, or ""."""
    name = getattr(driver, "sqlite_errorname", None)
    if name is None:
        return getattr(driver, "sqlstate", None) or ""
    families = ("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_CORRUPT")
    return next((family for family in families if str(name).startswith(family)), str(name))


def _locked(where: str) -> TrackerError:
    return Busy(
        f"The kitchen is locked: another program kept it busy for {BUSY_SECONDS} seconds. Nothing was stored.",
        where=where,
        try_this="the same command again in a moment",
    )


def _full(where: str) -> TrackerError:
    return Full(
        "The disk is full. Nothing was stored, and what was recorded before is whole.",
        where=where,
        try_this="free some space, then the same command again",
    )


def _read_only(where: str) -> TrackerError:
    return Busy(
        "The kitchen can be read but not written. Nothing was stored.",
        where=where,
        try_this="check who may write this file and its folder",
    )


def _no_file(where: str) -> TrackerError:
    return Unreachable("There is no kitchen that can be opened.", where=where, try_this="check the path and its rights")


def _damaged(where: str) -> TrackerError:
    return IntegrityError(
        "The file is damaged.", where=where, try_this="crumbwise records restore BACKUP NEW_FILE with your last backup"
    )
