"""Run by Alembic: on which connection, in which transaction?

The runner in ``tracker.migrations`` hands over an open transaction; nothing here commits.
"""

from __future__ import annotations

from alembic import context
from sqlmodel import SQLModel

import tracker.models  # noqa: F401  (fills the metadata)

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=SQLModel.metadata,
    transactional_ddl=True,  # SQLite too: our engine begins its transactions itself
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
