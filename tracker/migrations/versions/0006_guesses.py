"""How often a PIN or a code was wrong, for as long as the next try waits because of it.

No table that was there is touched, so that every entry of the record still agrees.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    op.create_table(
        "bench_guess",
        sa.Column("about", sa.String(), nullable=False),
        sa.Column("wrong", sa.Integer(), nullable=False),
        sa.Column("last_at", sa.String(), nullable=False),
        sa.CheckConstraint("wrong > 0", name="wrong_positive"),
        sa.PrimaryKeyConstraint("about"),
    )
    op.create_table(
        "bench_guess_key",
        sa.Column("key", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("key"),
    )


def downgrade() -> None:
    raise NotImplementedError("What was recorded is not taken away: restore the backup made before the migration.")
