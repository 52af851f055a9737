"""The bench: accounts, moments of a bake, and what may be forgotten (secrets, sessions, keys).

No table that was there is touched, so that every entry of the record still agrees.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

ONLY_GROW = ("account", "bake_moment")


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
        "account",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("role IN ('assessor', 'baker', 'analyst', 'owner', 'none')", name="role_known"),
        sa.CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["replaces_id"], ["account.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("replaces_id"),
    )
    op.create_index("account_of_person", "account", ["person_id"])
    op.create_table(
        "bake_moment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bake_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("moment", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("void", sa.Boolean(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("what IN ('begun', 'in the oven', 'out of the oven')", name="what_known"),
        sa.CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        sa.CheckConstraint("NOT void OR replaces_id IS NOT NULL", name="void_replaces"),
        sa.ForeignKeyConstraint(["bake_id"], ["bake.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["replaces_id"], ["bake_moment.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("replaces_id"),
    )
    op.create_index("bake_moment_of_bake", "bake_moment", ["bake_id"])


def _make_expiring_tables() -> None:
    op.create_table(
        "bench_secret",
        sa.Column("person_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("pin_hash", sa.String(), nullable=False),
        sa.Column("changed_at", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("person_id"),
    )
    op.create_table(
        "bench_session",
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.String(), nullable=False),
        sa.Column("seen_at", sa.String(), nullable=False),
        sa.Column("ends_at", sa.String(), nullable=False),
        sa.CheckConstraint("kind IN ('device', 'person')", name="kind_known"),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("token_hash"),
    )
    op.create_table(
        "bench_key",
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("payload_hash", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("key"),
    )
