"""What opens nothing any more once somebody has left?

Their PIN, every session they began, the tablets that were let in by their PIN, and their cards for
tastings end in the transaction that closes or erases them, so that none can be forgotten.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import ColumnElement, Table, delete

from tracker.bench_tables import secrets, sessions
from tracker.deeds import Deed
from tracker.taste_tables import passes, tasters


@dataclass(frozen=True, kw_only=True)
class Ended:
    """How many of each; a tasting that was going on is a session too."""

    sessions: int = 0
    tablets: int = 0
    cards: int = 0

    def words(self) -> str:
        """ "Ended with it: 2 sessions, 1 tablet (the next one to use it signs in by name), 1 tasting card."."""
        said = [
            _some(self.sessions, "session", "sessions"),
            _some(self.tablets, "tablet", "tablets") + " (whoever signs in there next types their name)",
            _some(self.cards, "tasting card", "tasting cards"),
        ]
        told = [words for words, count in zip(said, (self.sessions, self.tablets, self.cards), strict=True) if count]
        return (
            f"Ended with it: {', '.join(told)}." if told else "No session, tablet or tasting card of theirs was open."
        )

    def to_json(self) -> dict[str, int]:
        return {"sessions": self.sessions, "tablets": self.tablets, "cards": self.cards}


def end_all_of(deed: Deed, person: int) -> Ended:
    """Whatever this person could come in by, in the transaction of the deed; what was over before is not counted."""

    def ended(table: Table, *only: ColumnElement[bool]) -> int:
        wanted = delete(table).where(table.c.person_id == person, *only)
        return deed.session.connection().execute(wanted).rowcount

    ended(secrets)
    for table in (sessions, passes, tasters):
        ended(table, table.c.ends_at < deed.at)
    return Ended(
        tablets=ended(sessions, sessions.c.kind == "device"),
        sessions=ended(sessions) + ended(tasters),
        cards=ended(passes),
    )


def end_sessions(deed: Deed, person: int) -> None:
    """Signed out everywhere; the tablets stay known and cards stay good."""
    wanted = (sessions.c.person_id == person) & (sessions.c.kind == "person")
    deed.session.connection().execute(delete(sessions).where(wanted))


def _some(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"
