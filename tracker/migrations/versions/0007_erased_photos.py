"""Who had which photo erased, and why. The bytes of a photo may go once that is written, and of no other.

No row that was there is touched, so that every entry of the record still agrees.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    op.create_table(
        "photo_erasure",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("photo_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.CheckConstraint("length(reason) > 0", name="reason_given"),
        sa.ForeignKeyConstraint(["photo_id"], ["photo.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("photo_id"),
    )
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgres()


def downgrade() -> None:
    raise NotImplementedError("What was recorded is not taken away: restore the backup made before the migration.")


def _guard_sqlite() -> None:
    for deed in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER photo_erasure_no_{deed.lower()} BEFORE {deed} ON photo_erasure BEGIN "
            "SELECT RAISE(ABORT, 'crumbwise: Rows of photo_erasure are never changed or removed.'); END"
        )
    op.execute("DROP TRIGGER photo_content_no_delete")
    op.execute(
        "CREATE TRIGGER photo_content_no_delete BEFORE DELETE ON photo_content "
        "WHEN NOT EXISTS (SELECT 1 FROM photo_erasure WHERE photo_id = OLD.photo_id) "
        "BEGIN SELECT RAISE(ABORT, 'crumbwise: Rows of photo_content are never changed or removed.'); END"
    )


def _guard_postgres() -> None:
    """Statements are refused as before, but for DELETE, which is asked row by row."""
    for deed in ("UPDATE", "DELETE", "TRUNCATE"):
        op.execute(
            f"CREATE TRIGGER photo_erasure_no_{deed.lower()} BEFORE {deed} ON photo_erasure "
            "FOR EACH STATEMENT EXECUTE FUNCTION crumbwise_only_grows()"
        )
    op.execute(
        "CREATE FUNCTION crumbwise_only_erased() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "IF EXISTS (SELECT 1 FROM photo_erasure WHERE photo_id = OLD.photo_id) THEN RETURN OLD; END IF; "
        "RAISE EXCEPTION 'crumbwise: Rows of % are never changed or removed.', TG_TABLE_NAME; END $$"
    )
    op.execute("DROP TRIGGER photo_content_no_delete ON photo_content")
    op.execute(
        "CREATE TRIGGER photo_content_no_delete BEFORE DELETE ON photo_content "
        "FOR EACH ROW EXECUTE FUNCTION crumbwise_only_erased()"
    )
