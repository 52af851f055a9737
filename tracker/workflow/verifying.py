"""Is the record whole, and is it what was entered?

The chain of audit entries is computed again from the first, and every row is compared with
what its entry says of it, both ways. That shows any change made behind the program's back,
except one: entries cut off at the end together with their rows. For that, a head noted
earlier (on a report, in a backup's manifest) has to be a part of the chain.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from sqlmodel import Session, SQLModel, select

import tracker.models as models
from tracker.audit import FIRST_PREVIOUS_HASH, canonical, content_of, entry_hash, sha256
from tracker.errors import IntegrityError, UsageError
from tracker.store import Store

SHORTEST_HEAD = 12

TABLES: dict[str, type[SQLModel]] = {
    table.__tablename__: table  # type: ignore[misc]
    for table in vars(models).values()
    if isinstance(table, type) and issubclass(table, SQLModel) and hasattr(table, "__table__")
}


@dataclass(frozen=True, kw_only=True)
class Verified:
    """The record verifies: ``entries`` in the chain, the hash of the last, ``rows`` compared.

    ``expected`` is the earlier head that was found in the chain, and ``expected_at`` its place.
    """

    entries: int
    head: str
    rows: int
    expected: str | None = None
    expected_at: int | None = None

    def summary(self) -> str:
        lines = [f"The record verifies: {self.entries} entries, {self.rows} rows, head {self.head}."]
        if self.expected_at is not None:
            lines.append(
                f"The head you noted is entry {self.expected_at} of this chain: nothing was cut off before it."
            )
        else:
            lines.append(
                "Whether entries were cut off at the end shows only against a head noted earlier (--expect HASH)."
            )
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        return {
            "verifies": True,
            "entries": self.entries,
            "head": self.head,
            "rows": self.rows,
            "expected": self.expected,
            "expected_at": self.expected_at,
        }


@dataclass
class _Chain:
    """What the entries say: (table, row) -> (sequence, SHA-256 of the row's content)."""

    where: str
    rows: dict[tuple[str, int], tuple[int, str]] = field(default_factory=dict)
    length: int = 0
    head: str = FIRST_PREVIOUS_HASH
    expected_at: int | None = None


def verify_record(store: Store, *, expect: str | None = None) -> Verified:
    """Verify the whole record; raises IntegrityError that names the first bad entry."""
    wanted = _read_head(expect) if expect is not None else None
    with store.read() as session:
        chain = _walk(session, store.place.shown, wanted)
        if wanted is not None and chain.expected_at is None:
            raise IntegrityError(
                f"The head {wanted} is not in this chain of {chain.length} entries: entries were cut off or rewritten.",
                where=store.place.shown,
                try_this=_RESTORE,
            )
        rows = _compare(session, chain)
    return Verified(entries=chain.length, head=chain.head, rows=rows, expected=wanted, expected_at=chain.expected_at)


_RESTORE = "crumbwise records restore BACKUP NEW_FILE, and find out who changed this one"


def _read_head(text: str) -> str:
    head = text.strip().lower()
    if not SHORTEST_HEAD <= len(head) <= 64 or set(head) - set("0123456789abcdef"):
        raise UsageError(
            f'"{text}" is no head of a record.',
            where="--expect",
            try_this=f"the hash as printed on the report (at least its first {SHORTEST_HEAD} characters)",
        )
    return head


@contextmanager
def _rows(session: Session, statement: Any) -> Iterator[Iterable[Mapping[str, Any]]]:
    """Rows as mappings, a few thousand in memory at a time; the cursor is closed whatever is found."""
    with session.connection().execute(statement.execution_options(yield_per=2000)) as result:
        yield (dict(row) for row in result.mappings())


def _walk(session: Session, where: str, wanted: str | None) -> _Chain:
    chain = _Chain(where)
    table = models.AuditEntry.__table__  # type: ignore[attr-defined]
    with _rows(session, select(table).order_by(table.c.sequence)) as entries:
        for entry in entries:
            _next_entry(chain, entry)
            if wanted is not None and chain.head.startswith(wanted):
                chain.expected_at = chain.length
    if not chain.length:
        raise IntegrityError("The record has no entries.", where=where, try_this=_RESTORE)
    return chain


def _next_entry(chain: _Chain, entry: Mapping[str, Any]) -> None:
    number = chain.length + 1
    if entry["sequence"] != number:
        raise _bad(chain, number, "is missing")
    if entry["previous_hash"] != chain.head:
        raise _bad(chain, number, "does not follow the entry before it")
    if entry_hash(entry) != entry["hash"]:
        raise _bad(chain, number, "was changed")
    key = (entry["table_name"], entry["row_id"])
    if entry["new"] is None:
        chain.rows.pop(key, None)
    elif key in chain.rows and key[0] != models.PersonDetails.__tablename__:
        raise _bad(chain, number, f"enters row {key[1]} of {key[0]} a second time")
    else:
        chain.rows[key] = (number, sha256(entry["new"]))
    chain.length, chain.head = number, entry["hash"]


def _bad(chain: _Chain, number: int, what: str) -> IntegrityError:
    return IntegrityError(f"Entry {number} of the record {what}.", where=chain.where, try_this=_RESTORE)


def _compare(session: Session, chain: _Chain) -> int:
    """Compare every row with its entry; returns how many there are."""
    missing = dict(chain.rows)
    changed: list[tuple[int, str]] = []
    for name, table in TABLES.items():
        if table is not models.AuditEntry:
            changed += _changed(session, chain, name, table, missing)
    changed += [(entry, f"row {number} of {name} is gone") for (name, number), (entry, _) in missing.items()]
    if changed:
        entry, words = min(changed)
        raise _bad(chain, entry, f"no longer agrees with the tables: {words}")
    return len(chain.rows)


def _changed(
    session: Session, chain: _Chain, name: str, table: type[SQLModel], missing: dict[tuple[str, int], tuple[int, str]]
) -> list[tuple[int, str]]:
    """Entries whose row of one table was changed; takes every row that is there off ``missing``."""
    changed: list[tuple[int, str]] = []
    with _rows(session, select(table.__table__)) as rows:  # type: ignore[attr-defined]
        for row in rows:
            number = row["person_id"] if table is models.PersonDetails else row["id"]
            entry, digest = missing.pop((name, number), (0, ""))
            if not entry:
                raise IntegrityError(
                    f"Row {number} of {name} has no entry: it came in behind the program's back.",
                    where=chain.where,
                    try_this=_RESTORE,
                )
            if _digest(table, row) != digest:
                changed.append((entry, f"row {number} of {name} was changed since"))
    return changed


def _digest(table: type[SQLModel], row: Mapping[str, Any]) -> str:
    try:
        return sha256(canonical(content_of(table, row)))
    except (TypeError, ValueError):  # a value that could never have been entered
        return ""
