"""What do the pages at the bench need to remember?

``Account`` and ``BakeMoment`` are part of the record and only grow. The plain tables below
them are not: a secret can be changed, a session ends, a key is forgotten after its time and so is
a wrong PIN, so they have no audit entries and no triggers. Nothing in them is a finding, and a hash of a
PIN that could never be removed would be one that can be guessed for ever.
"""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, ForeignKey, Index, Integer, String, Table
from sqlmodel import Field, SQLModel

from tracker.model_checks import one_of as _one_of


class Account(SQLModel, table=True):
    """What a person may do at the bench; the row nothing replaces is the current one."""

    __tablename__ = "account"
    __table_args__ = (
        _one_of("role", "assessor", "baker", "analyst", "owner", "none"),
        CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        Index("account_of_person", "person_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id")
    role: str
    at: str
    replaces_id: int | None = Field(default=None, foreign_key="account.id", unique=True)
    reason: str = ""


class BakeMoment(SQLModel, table=True):
    """When mixing began, when it went into the oven and when it came out; ``moment`` is RFC 3339 in UTC."""

    __tablename__ = "bake_moment"
    __table_args__ = (
        _one_of("what", "begun", "in the oven", "out of the oven"),
        CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        CheckConstraint("NOT void OR replaces_id IS NOT NULL", name="void_replaces"),
        Index("bake_moment_of_bake", "bake_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    bake_id: int = Field(foreign_key="bake.id")
    what: str
    moment: str
    person_id: int = Field(foreign_key="person.id")
    at: str
    void: bool = False
    replaces_id: int | None = Field(default=None, foreign_key="bake_moment.id", unique=True)
    reason: str = ""


def _text(name: str, *, empty: bool = False) -> Column[str]:
    return Column(name, String, nullable=empty)


secrets = Table(
    "bench_secret",
    SQLModel.metadata,
    Column("person_id", Integer, ForeignKey("person.id"), primary_key=True, autoincrement=False),
    _text("pin_hash"),
    _text("changed_at"),
)

sessions = Table(
    "bench_session",
    SQLModel.metadata,
    Column("token_hash", String, primary_key=True),
    _text("kind"),
    Column("person_id", Integer, ForeignKey("person.id"), nullable=True),
    _text("made_at"),
    _text("seen_at"),
    _text("ends_at"),
    CheckConstraint("kind IN ('device', 'person')", name="kind_known"),
)

keys = Table(
    "bench_key",
    SQLModel.metadata,
    Column("key", String, primary_key=True),
    _text("payload_hash"),
    Column("person_id", Integer, ForeignKey("person.id"), nullable=False),
    _text("at"),
)

guesses = Table(
    "bench_guess",
    SQLModel.metadata,
    Column("about", String, primary_key=True),
    Column("wrong", Integer, nullable=False),
    _text("last_at"),
    CheckConstraint("wrong > 0", name="wrong_positive"),
)

guess_keys = Table("bench_guess_key", SQLModel.metadata, Column("key", String, primary_key=True))

EXPIRING = (secrets.name, sessions.name, keys.name, guesses.name, guess_keys.name)
