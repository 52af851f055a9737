"""The daily log: what responses stand for, lots' dates, corrections, phases, alarms, decisions.

The tables that were there keep their columns, so that every entry made of their rows still
agrees; only an index is added, by which the last batches of a product are found.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

ONLY_GROW = (
    "acceptance_rule",
    "alarm",
    "alarm_answer",
    "batch_change",
    "batch_file",
    "batch_lot_change",
    "disposition",
    "expectation",
    "logged_response",
    "lot_dates",
    "phase",
    "phase_limits",
    "reading_size",
)


def upgrade() -> None:
    _make_tables()
    op.create_index("batch_in_order", "batch", ["product_id", "baked_at"])
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgres()


def downgrade() -> None:
    raise NotImplementedError("What was logged is not taken away: restore the backup made before the migration.")


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


def _finite(column: str) -> sa.CheckConstraint:
    most = "1.7976931348623157e+308"  # the largest double: infinity lies beyond, on both databases
    return sa.CheckConstraint(
        f"{column} IS NULL OR ({column} >= -{most} AND {column} <= {most})", name=f"{column}_finite"
    )


def _make_tables() -> None:
    op.create_table(
        "logged_response",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("scale", sa.String(), nullable=False),
        sa.Column("stands_for", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        sa.CheckConstraint("scale IN ('measured', 'share', 'rate')", name="scale_known"),
        sa.CheckConstraint(
            "stands_for IN ('', 'rise', 'pH', 'gas', 'oven temperature', 'bake loss')", name="stands_for_known"
        ),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["replaces_id"], ["logged_response.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("replaces_id"),
    )
    op.create_index("logged_response_of_product", "logged_response", ["product_id"])
    op.create_table(
        "expectation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("response", sa.String(), nullable=False),
        sa.Column("mean", sa.Float(), nullable=False),
        sa.Column("sd", sa.Float(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("settings", sa.String(), nullable=False),
        sa.Column("content_hash", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        _finite("mean"),
        sa.CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        _finite("sd"),
        sa.CheckConstraint("sd > 0", name="sd_positive"),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"]),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["replaces_id"], ["expectation.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("replaces_id"),
    )
    op.create_index("expectation_of_product", "expectation", ["product_id"])
    op.create_table(
        "lot_dates",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("received_on", sa.String(), nullable=True),
        sa.Column("opened_on", sa.String(), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint(
            "received_on IS NULL OR opened_on IS NULL OR received_on <= opened_on", name="dates_in_order"
        ),
        sa.CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["replaces_id"], ["lot_dates.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("replaces_id"),
    )
    op.create_index("lot_dates_of_lot", "lot_dates", ["lot_id"])
    op.create_table(
        "batch_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("detail", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("detail IN ('baked_at', 'line', 'oven', 'shift', 'void')", name="detail_known"),
        sa.CheckConstraint("length(reason) > 0", name="reason_given"),
        sa.CheckConstraint("detail <> 'void' OR value IN ('yes', 'no')", name="void_is_yes_or_no"),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("batch_change_of_batch", "batch_change", ["batch_id"])
    op.create_table(
        "batch_lot_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("ingredient", sa.String(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("length(reason) > 0", name="reason_given"),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"]),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("batch_lot_change_of_batch", "batch_lot_change", ["batch_id"])
    op.create_table(
        "batch_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("import_file_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"]),
        sa.ForeignKeyConstraint(["import_file_id"], ["import_file.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("batch_id", "import_file_id"),
    )
    op.create_index("batch_file_of_file", "batch_file", ["import_file_id"])
    op.create_table(
        "reading_size",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("size", sa.Float(), nullable=False),
        _finite("size"),
        sa.CheckConstraint("size > 0", name="size_positive"),
        sa.ForeignKeyConstraint(["reading_id"], ["reading.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("reading_id"),
    )
    op.create_table(
        "phase",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("response", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("from_batch_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("rules", sa.String(), nullable=False),
        sa.Column("settings", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("number >= 1", name="number_positive"),
        sa.CheckConstraint("length(reason) > 0", name="reason_given"),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"]),
        sa.ForeignKeyConstraint(["from_batch_id"], ["batch.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("product_id", "response", "number"),
    )
    op.create_table(
        "phase_limits",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("phase_id", sa.Integer(), nullable=False),
        sa.Column("chart", sa.String(), nullable=False),
        sa.Column("lower", sa.Float(), nullable=True),
        sa.Column("centre", sa.Float(), nullable=False),
        sa.Column("upper", sa.Float(), nullable=True),
        sa.Column("sd", sa.Float(), nullable=False),
        sa.Column("method", sa.String(), nullable=False),
        sa.Column("batches", sa.Integer(), nullable=False),
        sa.Column("first_batch_id", sa.Integer(), nullable=False),
        sa.Column("last_batch_id", sa.Integer(), nullable=False),
        sa.Column("provisional", sa.Boolean(), nullable=False),
        sa.Column("numbers", sa.String(), nullable=False),
        _finite("centre"),
        sa.CheckConstraint("lower IS NULL OR upper IS NULL OR lower <= upper", name="limits_in_order"),
        _finite("lower"),
        _finite("sd"),
        sa.CheckConstraint("sd >= 0", name="sd_not_negative"),
        _finite("upper"),
        sa.ForeignKeyConstraint(["phase_id"], ["phase.id"]),
        sa.ForeignKeyConstraint(["first_batch_id"], ["batch.id"]),
        sa.ForeignKeyConstraint(["last_batch_id"], ["batch.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("phase_id", "chart"),
    )
    op.create_table(
        "alarm",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("response", sa.String(), nullable=False),
        sa.Column("chart", sa.String(), nullable=False),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("since_batch_id", sa.Integer(), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("side", sa.String(), nullable=False),
        sa.Column("phase_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.String(), nullable=False),
        sa.CheckConstraint("side IN ('above', 'below', '')", name="side_known"),
        _finite("value"),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"]),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"]),
        sa.ForeignKeyConstraint(["since_batch_id"], ["batch.id"]),
        sa.ForeignKeyConstraint(["phase_id"], ["phase.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("product_id", "number"),
    )
    op.create_index("alarm_of_batch", "alarm", ["batch_id"])
    op.create_table(
        "alarm_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("alarm_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("cause", sa.String(), nullable=False),
        sa.Column("action", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("state <> 'answered' OR length(cause) > 0", name="cause_given"),
        sa.CheckConstraint("state <> 'withdrawn' OR length(reason) > 0", name="reason_given"),
        sa.CheckConstraint("state IN ('acknowledged', 'answered', 'withdrawn')", name="state_known"),
        sa.ForeignKeyConstraint(["alarm_id"], ["alarm.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("alarm_answer_of_alarm", "alarm_answer", ["alarm_id"])
    op.create_table(
        "acceptance_rule",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("response", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("version = 1 OR length(reason) > 0", name="reason_given"),
        sa.CheckConstraint("version >= 1", name="version_positive"),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("product_id", "response", "version"),
    )
    op.create_table(
        "disposition",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("decision", sa.String(), nullable=False),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("decision IN ('accept', 'hold', 'reject')", name="decision_known"),
        sa.CheckConstraint("length(reason) > 0", name="reason_given"),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("disposition_of_batch", "disposition", ["batch_id"])
