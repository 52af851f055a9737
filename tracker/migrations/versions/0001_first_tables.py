"""The first tables, and the triggers that keep what was recorded.

Every table but ``person_details`` only grows: UPDATE and DELETE (and TRUNCATE on
PostgreSQL) are refused by the database itself.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

ONLY_GROW = (
    "audit_entry",
    "bake",
    "batch",
    "batch_lot",
    "extension",
    "factor",
    "formula",
    "formula_line",
    "import_file",
    "ingredient",
    "instrument",
    "kitchen",
    "lot",
    "outcome",
    "person",
    "piece",
    "product",
    "reading",
    "response",
    "run",
    "specification",
    "taste_note",
    "trial",
    "trial_state",
    "weighing",
)


def upgrade() -> None:
    _make_tables()
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgres()


def downgrade() -> None:
    raise NotImplementedError("The first tables are not taken away: remove the kitchen's file or database instead.")


def _guard_sqlite() -> None:
    for table in ONLY_GROW:
        for deed in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table} BEGIN "
                f"SELECT RAISE(ABORT, 'crumbwise: Rows of {table} are never changed or removed.'); END"
            )


def _guard_postgres() -> None:
    op.execute(
        "CREATE FUNCTION crumbwise_only_grows() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION 'crumbwise: Rows of % are never changed or removed.', TG_TABLE_NAME; END $$"
    )
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
        "audit_entry",
        sa.Column("sequence", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("zone", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("action", sa.String(), nullable=False),
        sa.Column("table_name", sa.String(), nullable=False),
        sa.Column("row_id", sa.Integer(), nullable=False),
        sa.Column("old", sa.String(), nullable=True),
        sa.Column("new", sa.String(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("version", sa.String(), nullable=False),
        sa.Column("previous_hash", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.CheckConstraint("sequence >= 1", name="sequence_positive"),
        sa.PrimaryKeyConstraint("sequence"),
        sa.UniqueConstraint("hash"),
        sa.UniqueConstraint("previous_hash"),
    )
    op.create_index("audit_entry_of_row", "audit_entry", ["table_name", "row_id"])
    op.create_table(
        "formula",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("method", sa.String(), nullable=False),
        sa.Column("made_at", sa.String(), nullable=False),
        sa.CheckConstraint("version >= 1", name="version_positive"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name", "version"),
    )
    op.create_table(
        "ingredient",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("neutralising_value", sa.Float(), nullable=True),
        sa.Column("ph", sa.Float(), nullable=True),
        sa.Column("water_share", sa.Float(), nullable=True),
        sa.Column("price_per_kg", sa.Float(), nullable=True),
        sa.Column("allergens", sa.String(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "neutralising_value IS NULL OR (neutralising_value >= 0 AND neutralising_value <= 300)",
            name="neutralising_value_range",
        ),
        _finite("price_per_kg"),
        sa.CheckConstraint("ph IS NULL OR (ph >= 0 AND ph <= 14)", name="ph_range"),
        sa.CheckConstraint("price_per_kg IS NULL OR price_per_kg >= 0", name="price_range"),
        sa.CheckConstraint("water_share IS NULL OR (water_share >= 0 AND water_share <= 1)", name="water_share_range"),
        sa.ForeignKeyConstraint(["replaces_id"], ["ingredient.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("replaces_id"),
    )
    op.create_table(
        "instrument",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("calibrated_on", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
    )
    op.create_table(
        "kitchen",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("zone", sa.String(), nullable=False),
        sa.Column("made_at", sa.String(), nullable=False),
        sa.Column("made_with", sa.String(), nullable=False),
        sa.Column("invented", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "lot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ingredient", sa.String(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("received_on", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("ingredient", "code"),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "formula_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("formula_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("ingredient", sa.String(), nullable=False),
        sa.Column("bakers_percent", sa.Float(), nullable=False),
        sa.Column("flour", sa.Boolean(), nullable=False),
        sa.CheckConstraint("bakers_percent >= 0 AND bakers_percent <= 10000", name="bakers_percent_range"),
        sa.ForeignKeyConstraint(["formula_id"], ["formula.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("formula_id", "ingredient"),
        sa.UniqueConstraint("formula_id", "position"),
    )
    op.create_table(
        "person_details",
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("allergens", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.PrimaryKeyConstraint("person_id"),
        sa.UniqueConstraint("name"),
    )
    op.create_table(
        "trial",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("question", sa.String(), nullable=False),
        sa.Column("formula_id", sa.Integer(), nullable=True),
        sa.Column("flour_per_bake_g", sa.Float(), nullable=True),
        sa.Column("seed", sa.BigInteger(), nullable=True),
        sa.Column("plan", sa.String(), nullable=False),
        sa.Column("design", sa.String(), nullable=False),
        sa.Column("made_at", sa.String(), nullable=False),
        _finite("flour_per_bake_g"),
        sa.CheckConstraint("flour_per_bake_g IS NULL OR flour_per_bake_g > 0", name="flour_positive"),
        sa.ForeignKeyConstraint(["formula_id"], ["formula.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
    )
    op.create_table(
        "factor",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("levels", sa.String(), nullable=False),
        sa.Column("reference", sa.String(), nullable=True),
        sa.Column("hard_to_change", sa.Boolean(), nullable=False),
        sa.Column("ingredient", sa.String(), nullable=True),
        sa.Column("settings", sa.String(), nullable=False),
        sa.CheckConstraint("kind IN ('amount', 'category', 'share')", name="kind_known"),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("trial_id", "name"),
        sa.UniqueConstraint("trial_id", "position"),
    )
    op.create_table(
        "product",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("formula_id", sa.Integer(), nullable=True),
        sa.Column("trial_id", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["formula_id"], ["formula.id"]),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
    )
    op.create_table(
        "response",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("scale", sa.String(), nullable=False),
        sa.Column("goal", sa.String(), nullable=True),
        sa.Column("target", sa.Float(), nullable=True),
        sa.Column("matters", sa.Float(), nullable=True),
        sa.Column("plausible_low", sa.Float(), nullable=True),
        sa.Column("plausible_high", sa.Float(), nullable=True),
        sa.Column("possible_low", sa.Float(), nullable=True),
        sa.Column("possible_high", sa.Float(), nullable=True),
        sa.Column("spread", sa.Float(), nullable=True),
        sa.Column("accept_low", sa.Float(), nullable=True),
        sa.Column("accept_high", sa.Float(), nullable=True),
        sa.Column("importance", sa.Float(), nullable=False),
        sa.Column("anchors", sa.String(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("readings", sa.Integer(), nullable=False),
        sa.CheckConstraint("goal IS NULL OR goal IN ('maximise', 'minimise', 'target')", name="goal_known"),
        sa.CheckConstraint("scale IN ('measured', 'score', 'count', 'yes-no')", name="scale_known"),
        _finite("matters"),
        sa.CheckConstraint("matters IS NULL OR matters > 0", name="matters_positive"),
        sa.CheckConstraint("pieces >= 1 AND readings >= 1", name="counts_positive"),
        sa.CheckConstraint(
            "accept_low IS NULL OR accept_high IS NULL OR accept_low < accept_high", name="accept_in_order"
        ),
        _finite("accept_high"),
        _finite("accept_low"),
        _finite("importance"),
        sa.CheckConstraint("importance > 0", name="importance_positive"),
        _finite("plausible_high"),
        _finite("plausible_low"),
        _finite("possible_high"),
        _finite("possible_low"),
        _finite("spread"),
        _finite("target"),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("trial_id", "name"),
        sa.UniqueConstraint("trial_id", "position"),
    )
    op.create_table(
        "extension",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("design", sa.String(), nullable=False),
        sa.Column("seed", sa.BigInteger(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("trial_id", "number"),
    )
    op.create_table(
        "run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("place_in_design", sa.Integer(), nullable=False),
        sa.Column("bake_order", sa.Integer(), nullable=False),
        sa.Column("block", sa.String(), nullable=True),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("settings", sa.String(), nullable=False),
        sa.Column("groups", sa.String(), nullable=False),
        sa.Column("extension_id", sa.Integer(), nullable=True),
        sa.Column("stands_for_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["extension_id"], ["extension.id"]),
        sa.ForeignKeyConstraint(["stands_for_id"], ["run.id"]),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("stands_for_id"),
        sa.UniqueConstraint("trial_id", "bake_order"),
        sa.UniqueConstraint("trial_id", "code"),
        sa.UniqueConstraint("trial_id", "place_in_design"),
    )
    op.create_table(
        "trial_state",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN ('planned', 'baking', 'closed', 'reopened')", name="state_known"),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "batch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(), nullable=False),
        sa.Column("baked_at", sa.String(), nullable=False),
        sa.Column("line", sa.String(), nullable=False),
        sa.Column("oven", sa.String(), nullable=False),
        sa.Column("shift", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("product_id", "number"),
    )
    op.create_table(
        "import_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=True),
        sa.Column("product_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.CheckConstraint("(trial_id IS NULL) <> (product_id IS NULL)", name="trial_or_product"),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"]),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("product_id", "sha256"),
        sa.UniqueConstraint("trial_id", "sha256"),
    )
    op.create_table(
        "specification",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("response", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("lower", sa.Float(), nullable=True),
        sa.Column("upper", sa.Float(), nullable=True),
        sa.Column("target", sa.Float(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        _finite("lower"),
        sa.CheckConstraint("lower IS NULL OR upper IS NULL OR lower < upper", name="limits_in_order"),
        _finite("target"),
        _finite("upper"),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("product_id", "response", "version"),
    )
    op.create_table(
        "bake",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.String(), nullable=False),
        sa.CheckConstraint("(run_id IS NULL) <> (batch_id IS NULL)", name="run_or_batch"),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"]),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("batch_id"),
        sa.UniqueConstraint("run_id"),
    )
    op.create_table(
        "batch_lot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"]),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("batch_id", "lot_id"),
    )
    op.create_table(
        "outcome",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bake_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("deviations", sa.String(), nullable=False),
        sa.Column("oven_temperature_c", sa.Float(), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("state = 'done' OR length(reason) > 0", name="reason_given"),
        sa.CheckConstraint("state IN ('done', 'failed', 'skipped')", name="state_known"),
        _finite("oven_temperature_c"),
        sa.ForeignKeyConstraint(["bake_id"], ["bake.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["replaces_id"], ["outcome.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("replaces_id"),
    )
    op.create_index("outcome_of_bake", "outcome", ["bake_id"])
    op.create_table(
        "piece",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bake_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.CheckConstraint("number >= 1", name="number_positive"),
        sa.ForeignKeyConstraint(["bake_id"], ["bake.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("bake_id", "number"),
    )
    op.create_table(
        "weighing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bake_id", sa.Integer(), nullable=False),
        sa.Column("ingredient", sa.String(), nullable=False),
        sa.Column("grams", sa.Float(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("grams >= 0 AND grams <= 1000000", name="grams_range"),
        sa.CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        sa.ForeignKeyConstraint(["bake_id"], ["bake.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["replaces_id"], ["weighing.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("replaces_id"),
    )
    op.create_index("weighing_of_bake", "weighing", ["bake_id"])
    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bake_id", sa.Integer(), nullable=False),
        sa.Column("piece_id", sa.Integer(), nullable=True),
        sa.Column("response_id", sa.Integer(), nullable=True),
        sa.Column("response", sa.String(), nullable=False),
        sa.Column("repeat", sa.Integer(), nullable=False),
        sa.Column("value", sa.Float(), nullable=True),
        sa.Column("implausible", sa.Boolean(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=True),
        sa.Column("import_file_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("void", sa.Boolean(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("(value IS NULL) = void", name="void_has_no_value"),
        sa.CheckConstraint("NOT void OR replaces_id IS NOT NULL", name="void_replaces"),
        sa.CheckConstraint("repeat >= 1", name="repeat_positive"),
        sa.CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        _finite("value"),
        sa.ForeignKeyConstraint(["bake_id"], ["bake.id"]),
        sa.ForeignKeyConstraint(["import_file_id"], ["import_file.id"]),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["piece_id"], ["piece.id"]),
        sa.ForeignKeyConstraint(["replaces_id"], ["reading.id"]),
        sa.ForeignKeyConstraint(["response_id"], ["response.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("replaces_id"),
    )
    op.create_index("reading_of_bake", "reading", ["bake_id"])
    op.create_table(
        "taste_note",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bake_id", sa.Integer(), nullable=False),
        sa.Column("piece_id", sa.Integer(), nullable=True),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("tags", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("void", sa.Boolean(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint("NOT void OR replaces_id IS NOT NULL", name="void_replaces"),
        sa.CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        sa.ForeignKeyConstraint(["bake_id"], ["bake.id"]),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"]),
        sa.ForeignKeyConstraint(["piece_id"], ["piece.id"]),
        sa.ForeignKeyConstraint(["replaces_id"], ["taste_note.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("replaces_id"),
    )
    op.create_index("taste_note_of_bake", "taste_note", ["bake_id"])
