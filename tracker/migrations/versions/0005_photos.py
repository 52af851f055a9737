"""Photos of bakes and pieces, and beside them their bytes.

No table that was there is touched, so that every entry of the record still agrees.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

ONLY_GROW = ("photo", "photo_content")


def upgrade() -> None:
    _make_tables()
    sqlite = op.get_bind().dialect.name == "sqlite"
    for table in ONLY_GROW:
        for deed in ("UPDATE", "DELETE") if sqlite else ("UPDATE", "DELETE", "TRUNCATE"):
            op.execute(_guard_sqlite(table, deed) if sqlite else _guard_postgres(table, deed))


def downgrade() -> None:
    raise NotImplementedError("What was recorded is not taken away: restore the backup made before the migration.")


def _guard_sqlite(table: str, deed: str) -> str:
    return (
        f"CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table} BEGIN "
        f"SELECT RAISE(ABORT, 'crumbwise: Rows of {table} are never changed or removed.'); END"
    )


def _guard_postgres(table: str, deed: str) -> str:
    """The function that refuses stands since the first tables."""
    return (
        f"CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION crumbwise_only_grows()"
    )


def _make_tables() -> None:
    op.create_table(
        "photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bake_id", sa.Integer(), nullable=False),
        sa.Column("piece_id", sa.Integer(), nullable=True),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("void", sa.Boolean(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("width BETWEEN 1 AND 10000 AND height BETWEEN 1 AND 10000", name="sides_range"),
        sa.CheckConstraint("length(sha256) = 64", name="hash_whole"),
        sa.CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        sa.CheckConstraint("void = (replaces_id IS NOT NULL)", name="void_replaces"),
        sa.ForeignKeyConstraint(["bake_id"], ["bake.id"]),
        sa.ForeignKeyConstraint(["piece_id"], ["piece.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["replaces_id"], ["photo.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("replaces_id"),
    )
    op.create_index("photo_of_bake", "photo", ["bake_id"])
    op.create_table(
        "photo_content",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("photo_id", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint("length(content) > 0", name="content_given"),
        sa.ForeignKeyConstraint(["photo_id"], ["photo.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("photo_id"),
    )
