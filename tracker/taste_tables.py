"""What has to be kept of a blind tasting?

The tasting, what each assessor was served under which code, that they agreed, and that a
sample was answered: these only grow. The ratings themselves are readings of the bake, like
any other. A code that lets an assessor in, and the session it began, expire and are no part of
the record. What somebody cannot eat is never written here: it would stay for ever.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, CheckConstraint, Column, ForeignKey, Integer, String, Table, UniqueConstraint
from sqlmodel import Field, SQLModel

from tracker.model_checks import given as _given
from tracker.model_checks import one_of as _one_of


class Tasting(SQLModel, table=True):
    """One session of blind samples of one trial.

    ``responses`` is a JSON list of the places in the plan of what is scored. ``allergens`` is what is in
    the samples, as it is shown; ``words`` says how to taste. Between two samples lie ``rest_s`` seconds.
    """

    __tablename__ = "tasting"
    __table_args__ = (CheckConstraint("rest_s >= 0 AND rest_s <= 3600", name="rest_range"),)
    id: int | None = Field(default=None, primary_key=True)
    trial_id: int = Field(foreign_key="trial.id")
    seed: int = Field(sa_type=BigInteger)
    responses: str = "[]"
    allergens: str = ""
    words: str = ""
    rest_s: int = 0
    person_id: int = Field(foreign_key="person.id")
    at: str


class TastingState(SQLModel, table=True):
    """Open until it is closed, once: closing is the act that shows which sample was which."""

    __tablename__ = "tasting_state"
    __table_args__ = (
        UniqueConstraint("tasting_id", "state"),
        _one_of("state", "open", "closed"),
        CheckConstraint("state = 'open' OR length(reason) > 0", name="reason_given"),
    )
    id: int | None = Field(default=None, primary_key=True)
    tasting_id: int = Field(foreign_key="tasting.id")
    state: str
    reason: str = ""
    person_id: int = Field(foreign_key="person.id")
    at: str


class TastingSample(SQLModel, table=True):
    """What assessor ``person_id`` gets at ``place`` (1, 2 …) of their own order, under their own code."""

    __tablename__ = "tasting_sample"
    __table_args__ = (
        UniqueConstraint("tasting_id", "person_id", "place"),
        UniqueConstraint("tasting_id", "person_id", "code"),
        UniqueConstraint("tasting_id", "person_id", "bake_id"),
        CheckConstraint("place >= 1", name="place_positive"),
        CheckConstraint("length(code) = 3", name="code_of_three"),
    )
    id: int | None = Field(default=None, primary_key=True)
    tasting_id: int = Field(foreign_key="tasting.id")
    person_id: int = Field(foreign_key="person.id")
    place: int
    code: str
    bake_id: int = Field(foreign_key="bake.id")


class TastingConsent(SQLModel, table=True):
    """Assessor ``person_id`` agreed to ``words``; the row stands only where the check for allergens was passed."""

    __tablename__ = "tasting_consent"
    __table_args__ = (UniqueConstraint("tasting_id", "person_id"), _given("words"))
    id: int | None = Field(default=None, primary_key=True)
    tasting_id: int = Field(foreign_key="tasting.id")
    person_id: int = Field(foreign_key="person.id")
    words: str
    at: str


class TastingAnswer(SQLModel, table=True):
    """A sample is answered, and thereby locked; ``tasted`` is false when the assessor left it out.

    ``readings`` is a JSON list of [place of the response in the plan, repeat] of its readings of the bake.
    """

    __tablename__ = "tasting_answer"
    id: int | None = Field(default=None, primary_key=True)
    sample_id: int = Field(foreign_key="tasting_sample.id", unique=True)
    tasted: bool = True
    readings: str = "[]"
    person_id: int = Field(foreign_key="person.id")
    at: str


def _expiring(name: str, *columns: Column[str]) -> Table:
    """Opens one tasting for one person until ``ends_at``."""
    return Table(
        name,
        SQLModel.metadata,
        *columns[:1],
        Column("person_id", Integer, ForeignKey("person.id"), nullable=False),
        Column("tasting_id", Integer, ForeignKey("tasting.id"), nullable=False),
        *columns[1:],
    )


passes = _expiring(
    "bench_pass",
    Column("code_hash", String, primary_key=True),
    Column("made_at", String, nullable=False),
    Column("ends_at", String, nullable=False),
)

tasters = _expiring(
    "bench_taster",
    Column("token_hash", String, primary_key=True),
    Column("made_at", String, nullable=False),
    Column("seen_at", String, nullable=False),
    Column("ends_at", String, nullable=False),
)

EXPIRING_TOO = (passes.name, tasters.name)
