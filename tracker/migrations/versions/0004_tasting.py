"""Blind tastings: what is served to whom under which code, consent, answers, and codes that expire.

No table that was there is touched, so that every entry of the record still agrees.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

ONLY_GROW = ("tasting", "tasting_state", "tasting_sample", "tasting_consent", "tasting_answer")


def upgrade() -> None:
    _make_recorded_tables()
    _make_expiring_tables()
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgres()


def downgrade() -> None:
    raise NotImplementedError("What was recorded is not taken away: restore the backup made before the migration.")


def _guard_sqlite() -> None:
    for table in ONLY_GROW:
        for deed in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table} BEGIN "
                f"SELECT RAISE(ABORT, 'crumbwise: Rows of {table} are never changed or removed.'); END"
            )


def _guard_postgres() -> None:
    """The function that refuses stands since the first tables."""
    for table in ONLY_GROW:
        for deed in ("UPDATE", "DELETE", "TRUNCATE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION crumbwise_only_grows()"
            )


def _make_recorded_tables() -> None:
    op.create_table(
        "tasting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("seed", sa.BigInteger(), nullable=False),
        sa.Column("responses", sa.String(), nullable=False),
        sa.Column("allergens", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("rest_s", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.CheckConstraint("rest_s >= 0 AND rest_s <= 3600", name="rest_range"),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "tasting_state",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tasting_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.CheckConstraint("state IN ('open', 'closed')", name="state_known"),
        sa.CheckConstraint("state = 'open' OR length(reason) > 0", name="reason_given"),
        sa.ForeignKeyConstraint(["tasting_id"], ["tasting.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("tasting_id", "state"),
    )
    op.create_table(
        "tasting_sample",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tasting_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("bake_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("place >= 1", name="place_positive"),
        sa.CheckConstraint("length(code) = 3", name="code_of_three"),
        sa.ForeignKeyConstraint(["tasting_id"], ["tasting.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["bake_id"], ["bake.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("tasting_id", "person_id", "place"),
        sa.UniqueConstraint("tasting_id", "person_id", "code"),
        sa.UniqueConstraint("tasting_id", "person_id", "bake_id"),
    )
    op.create_table(
        "tasting_consent",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tasting_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.CheckConstraint("length(words) > 0", name="words_given"),
        sa.ForeignKeyConstraint(["tasting_id"], ["tasting.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("tasting_id", "person_id"),
    )
    op.create_table(
        "tasting_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("tasted", sa.Boolean(), nullable=False),
        sa.Column("readings", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["sample_id"], ["tasting_sample.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("sample_id"),
    )


def _make_expiring_tables() -> None:
    op.create_table(
        "bench_pass",
        sa.Column("code_hash", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("tasting_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.String(), nullable=False),
        sa.Column("ends_at", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["tasting_id"], ["tasting.id"]),
        sa.PrimaryKeyConstraint("code_hash"),
    )
    op.create_table(
        "bench_taster",
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("tasting_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.String(), nullable=False),
        sa.Column("seen_at", sa.String(), nullable=False),
        sa.Column("ends_at", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["tasting_id"], ["tasting.id"]),
        sa.PrimaryKeyConstraint("token_hash"),
    )
