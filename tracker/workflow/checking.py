"""Is the database set as it must be, and is its file sound?"""

from __future__ import annotations

import sqlite3
import stat
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import Connection, text

from tracker.errors import IntegrityError
from tracker.migrations import NEWEST, version_of
from tracker.settings import APPLICATION_ID, sqlite_settings
from tracker.store import Store
from tracker.workflow.verifying import TABLES

Verdict = Literal["fine", "look here", "wrong"]
_ERASABLE = "person_details"


@dataclass(frozen=True, kw_only=True)
class Check:
    """One thing looked at: what it is, what was found, and why it matters."""

    name: str
    found: str
    verdict: Verdict
    why: str

    def words(self) -> str:
        return f"{self.verdict:<9} {self.name}: {self.found} ({self.why})"


@dataclass(frozen=True, kw_only=True)
class CheckReport:
    kitchen: str
    database: str
    checks: tuple[Check, ...]

    @property
    def wrong(self) -> tuple[Check, ...]:
        return tuple(check for check in self.checks if check.verdict == "wrong")

    def require_sound(self) -> None:
        """Raises IntegrityError that names what is wrong."""
        if self.wrong:
            raise IntegrityError(
                "The kitchen is not sound: "
                + "; ".join(f"{check.name} is {check.found}" for check in self.wrong)
                + ".",
                where=self.kitchen,
                try_this="crumbwise records restore BACKUP NEW_FILE with your last backup",
            )

    def summary(self) -> str:
        return "\n".join([f"{self.kitchen}: {self.database}", *(check.words() for check in self.checks)])

    def to_json(self) -> dict[str, Any]:
        checks = [{"name": c.name, "found": c.found, "verdict": c.verdict, "why": c.why} for c in self.checks]
        return {"kitchen": self.kitchen, "database": self.database, "sound": not self.wrong, "checks": checks}


def check_kitchen(store: Store, *, full: bool = False) -> CheckReport:
    """Read every setting back and check the file; ``full`` reads every page and index of a SQLite file."""
    with store.read() as session:
        connection = session.connection()
        sqlite = connection.dialect.name == "sqlite"
        checks = [_version(connection)]
        checks += _sqlite_checks(connection, store, full) if sqlite else _postgres_checks(connection)
        checks.append(_triggers(connection, sqlite))
        database = f"SQLite {sqlite3.sqlite_version}" if sqlite else f"PostgreSQL {_show(connection, 'server_version')}"
    return CheckReport(kitchen=store.place.shown, database=database, checks=tuple(checks))


def _check(name: str, found: Any, wanted: Any, why: str, *, otherwise: Verdict = "wrong") -> Check:
    return Check(name=name, found=str(found), verdict="fine" if found == wanted else otherwise, why=why)


def _version(connection: Connection) -> Check:
    return _check("version of the tables", version_of(connection), NEWEST, "the newest this program knows")


def _sqlite_checks(connection: Connection, store: Store, full: bool) -> list[Check]:
    def pragma(name: str) -> Any:
        return connection.execute(text(f"PRAGMA {name}")).scalar()

    checks = [_check("application_id", pragma("application_id"), APPLICATION_ID, "the file is marked as ours")]
    checks += [_check(each.name, pragma(each.name), each.value, each.why) for each in sqlite_settings()]
    name = "integrity_check" if full else "quick_check"
    checks.append(_check(name, pragma(name), "ok", "the pages of the file" if not full else "every page and index"))
    dangling = len(connection.execute(text("PRAGMA foreign_key_check")).all())
    checks.append(_check("rows that point at nothing", dangling, 0, "every link leads somewhere"))
    if store.place.path is not None:
        mode = stat.S_IMODE(store.place.path.stat().st_mode)
        open_to_all = mode & 0o077
        checks.append(
            Check(
                name="file mode",
                found=f"{mode:04o}",
                verdict="look here" if open_to_all else "fine",
                why="others on this machine can open the file; chmod 600" if open_to_all else "for its owner only",
            )
        )
    return checks


def _show(connection: Connection, name: str) -> str:
    return str(connection.execute(text(f"SHOW {name}")).scalar())


def _postgres_checks(connection: Connection) -> list[Check]:
    return [
        _check("encoding", _show(connection, "server_encoding"), "UTF8", "texts come back as they were entered"),
        _check(
            "synchronous_commit",
            _show(connection, "synchronous_commit") != "off",
            True,
            "what was acknowledged is on the disk",
        ),
        _check(
            "fsync",
            _show(connection, "fsync"),
            "on",
            "a server that loses power keeps its files",
            otherwise="look here",
        ),
    ]


def _triggers(connection: Connection, sqlite: bool) -> Check:
    """Every table but the erasable one must refuse UPDATE and DELETE (and TRUNCATE)."""
    deeds = ("update", "delete") if sqlite else ("update", "delete", "truncate")
    wanted = {f"{table}_no_{deed}" for table in TABLES if table != _ERASABLE for deed in deeds}
    catalogue = (
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        if sqlite
        else "SELECT tgname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid"
        " WHERE NOT tgisinternal AND tgenabled = 'O' AND relnamespace = current_schema()::regnamespace"
    )
    missing = wanted - set(connection.execute(text(catalogue)).scalars())
    return Check(
        name="triggers against change",
        found=f"{len(wanted) - len(missing)} of {len(wanted)}",
        verdict="wrong" if missing else "fine",
        why="nothing recorded is changed or removed",
    )
