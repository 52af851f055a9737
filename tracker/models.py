"""What is recorded: the tables, and nothing computed.

Every table but ``person_details`` only ever grows: a correction is a new row whose
``replaces_id`` names the old one, a void is a new row with ``void`` set; both carry a
reason. Database triggers (see ``tracker/migrations``) refuse UPDATE and DELETE, but for the
bytes of a photo whose erasure is written. JSON columns
are canonical text, times are RFC 3339 text in UTC, so that SQLite and PostgreSQL hold the
same characters.

SQLModel tables do not validate: values are checked at the door by
``tracker.intake`` and once more by the CHECK constraints below.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, CheckConstraint, Index, LargeBinary, UniqueConstraint
from sqlmodel import Field, SQLModel

from tracker.bench_tables import Account, BakeMoment
from tracker.log_models import (
    AcceptanceRule,
    AlarmAnswer,
    AlarmEntry,
    BatchChange,
    BatchFile,
    BatchLotChange,
    Disposition,
    Expectation,
    LoggedResponse,
    LotDates,
    PhaseEntry,
    PhaseLimits,
    ReadingSize,
)
from tracker.model_checks import finite as _finite
from tracker.model_checks import one_of as _one_of
from tracker.photo_tables import Photo, PhotoContent, PhotoErasure
from tracker.taste_tables import Tasting, TastingAnswer, TastingConsent, TastingSample, TastingState

# Tables of the daily log, the bench, tastings and photos stand in modules of their own and are found here too.
__all__ = [
    "AcceptanceRule",
    "Account",
    "AlarmAnswer",
    "AlarmEntry",
    "AuditEntry",
    "Bake",
    "BakeMoment",
    "Batch",
    "BatchChange",
    "BatchFile",
    "BatchLot",
    "BatchLotChange",
    "Disposition",
    "Expectation",
    "Extension",
    "Factor",
    "Formula",
    "FormulaLine",
    "ImportFile",
    "Ingredient",
    "Instrument",
    "Kitchen",
    "LoggedResponse",
    "Lot",
    "LotDates",
    "Outcome",
    "Person",
    "PersonDetails",
    "PhaseEntry",
    "PhaseLimits",
    "Photo",
    "PhotoContent",
    "PhotoErasure",
    "Piece",
    "Product",
    "Reading",
    "ReadingSize",
    "Response",
    "Run",
    "Specification",
    "TasteNote",
    "Tasting",
    "TastingAnswer",
    "TastingConsent",
    "TastingSample",
    "TastingState",
    "Trial",
    "TrialState",
    "Weighing",
]


class Kitchen(SQLModel, table=True):
    """One row: whose record this is."""

    __tablename__ = "kitchen"
    id: int | None = Field(default=None, primary_key=True)
    name: str
    zone: str = "UTC"
    made_at: str
    made_with: str
    invented: bool = False


class Person(SQLModel, table=True):
    """A number that readings and audit entries name; who that is stands in PersonDetails."""

    __tablename__ = "person"
    id: int | None = Field(default=None, primary_key=True)
    made_at: str


class PersonDetails(SQLModel, table=True):
    """Erasable: names and health answers, outside the hash chain."""

    __tablename__ = "person_details"
    person_id: int = Field(primary_key=True, foreign_key="person.id")
    name: str = Field(unique=True)
    allergens: str = ""
    note: str = ""


class Instrument(SQLModel, table=True):
    __tablename__ = "instrument"
    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    calibrated_on: str | None = None


class Ingredient(SQLModel, table=True):
    """``neutralising_value``: g soda neutralised by 100 g (negative never; None = unknown)."""

    __tablename__ = "ingredient"
    __table_args__ = (
        CheckConstraint(
            "neutralising_value IS NULL OR (neutralising_value >= 0 AND neutralising_value <= 300)",
            name="neutralising_value_range",
        ),
        CheckConstraint("water_share IS NULL OR (water_share >= 0 AND water_share <= 1)", name="water_share_range"),
        CheckConstraint("ph IS NULL OR (ph >= 0 AND ph <= 14)", name="ph_range"),
        CheckConstraint("price_per_kg IS NULL OR price_per_kg >= 0", name="price_range"),
        _finite("price_per_kg"),
    )
    id: int | None = Field(default=None, primary_key=True)
    name: str
    neutralising_value: float | None = None
    ph: float | None = None
    water_share: float | None = None
    price_per_kg: float | None = None
    allergens: str = ""
    source: str = ""
    replaces_id: int | None = Field(default=None, foreign_key="ingredient.id", unique=True)


class Formula(SQLModel, table=True):
    """One immutable version of a formula."""

    __tablename__ = "formula"
    __table_args__ = (UniqueConstraint("name", "version"), CheckConstraint("version >= 1", name="version_positive"))
    id: int | None = Field(default=None, primary_key=True)
    name: str
    version: int
    method: str = ""
    made_at: str


class FormulaLine(SQLModel, table=True):
    """``bakers_percent``: g per 100 g of flour; the flour lines add up to 100."""

    __tablename__ = "formula_line"
    __table_args__ = (
        UniqueConstraint("formula_id", "position"),
        UniqueConstraint("formula_id", "ingredient"),
        CheckConstraint("bakers_percent >= 0 AND bakers_percent <= 10000", name="bakers_percent_range"),
    )
    id: int | None = Field(default=None, primary_key=True)
    formula_id: int = Field(foreign_key="formula.id")
    position: int
    ingredient: str
    bakers_percent: float
    flour: bool = False


class Trial(SQLModel, table=True):
    """``plan`` is the plan file's text as it was read; ``design`` its JSON summary."""

    __tablename__ = "trial"
    __table_args__ = (
        CheckConstraint("flour_per_bake_g IS NULL OR flour_per_bake_g > 0", name="flour_positive"),
        _finite("flour_per_bake_g"),
    )
    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    title: str
    question: str = ""
    formula_id: int | None = Field(default=None, foreign_key="formula.id")
    flour_per_bake_g: float | None = None
    seed: int | None = Field(default=None, sa_type=BigInteger)
    plan: str = ""
    design: str = "{}"
    made_at: str


class TrialState(SQLModel, table=True):
    """The latest row is the state of the trial."""

    __tablename__ = "trial_state"
    __table_args__ = (_one_of("state", "planned", "baking", "closed", "reopened"),)
    id: int | None = Field(default=None, primary_key=True)
    trial_id: int = Field(foreign_key="trial.id")
    state: str
    reason: str = ""
    at: str
    person_id: int = Field(foreign_key="person.id")


class Extension(SQLModel, table=True):
    """Runs added to a trial after it was planned: why, and what the whole can tell with them (``design``, JSON)."""

    __tablename__ = "extension"
    __table_args__ = (UniqueConstraint("trial_id", "number"),)
    id: int | None = Field(default=None, primary_key=True)
    trial_id: int = Field(foreign_key="trial.id")
    number: int
    kind: str
    reason: str = ""
    design: str = "{}"
    seed: int = Field(sa_type=BigInteger)
    at: str
    person_id: int = Field(foreign_key="person.id")


class Factor(SQLModel, table=True):
    """``levels`` is a JSON list in stored order; ``settings`` holds what else the plan says of it."""

    __tablename__ = "factor"
    __table_args__ = (
        UniqueConstraint("trial_id", "name"),
        UniqueConstraint("trial_id", "position"),
        _one_of("kind", "amount", "category", "share"),
    )
    id: int | None = Field(default=None, primary_key=True)
    trial_id: int = Field(foreign_key="trial.id")
    position: int
    name: str
    kind: str
    unit: str = ""
    levels: str = "[]"
    reference: str | None = None
    hard_to_change: bool = False
    ingredient: str | None = None
    settings: str = "{}"


class Response(SQLModel, table=True):
    """``anchors`` is a JSON list of words for the scores 1, 2, 3 …

    ``accept_low`` and ``accept_high`` bound what is good enough among several goals (None: open), which
    ``importance`` weighs.
    """

    __tablename__ = "response"
    __table_args__ = (
        UniqueConstraint("trial_id", "name"),
        UniqueConstraint("trial_id", "position"),
        _one_of("scale", "measured", "score", "count", "yes-no"),
        CheckConstraint("goal IS NULL OR goal IN ('maximise', 'minimise', 'target')", name="goal_known"),
        CheckConstraint("matters IS NULL OR matters > 0", name="matters_positive"),
        CheckConstraint("pieces >= 1 AND readings >= 1", name="counts_positive"),
        CheckConstraint(
            "accept_low IS NULL OR accept_high IS NULL OR accept_low < accept_high", name="accept_in_order"
        ),
        CheckConstraint("importance > 0", name="importance_positive"),
        *map(
            _finite,
            (
                "target",
                "matters",
                "plausible_low",
                "plausible_high",
                "possible_low",
                "possible_high",
                "spread",
                "accept_low",
                "accept_high",
                "importance",
            ),
        ),
    )
    id: int | None = Field(default=None, primary_key=True)
    trial_id: int = Field(foreign_key="trial.id")
    position: int
    name: str
    unit: str = ""
    scale: str = "measured"
    goal: str | None = None
    target: float | None = None
    matters: float | None = None
    plausible_low: float | None = None
    plausible_high: float | None = None
    possible_low: float | None = None
    possible_high: float | None = None
    spread: float | None = None
    accept_low: float | None = None
    accept_high: float | None = None
    importance: float = 1.0
    anchors: str = "[]"
    pieces: int = 1
    readings: int = 1


class Run(SQLModel, table=True):
    """One treatment, to be mixed and baked afresh. ``settings`` is a JSON object factor -> value.

    ``groups`` is a JSON object group name -> label, outermost first: the block, whole plot, row,
    oven load the run stands in. ``extension_id`` tells that it was added later; ``stands_for_id``
    names the run that failed or was skipped and is baked again here.
    """

    __tablename__ = "run"
    __table_args__ = (
        UniqueConstraint("trial_id", "place_in_design"),
        UniqueConstraint("trial_id", "bake_order"),
        UniqueConstraint("trial_id", "code"),
    )
    id: int | None = Field(default=None, primary_key=True)
    trial_id: int = Field(foreign_key="trial.id")
    place_in_design: int
    bake_order: int
    block: str | None = None
    code: str
    settings: str
    groups: str = "{}"
    extension_id: int | None = Field(default=None, foreign_key="extension.id")
    stands_for_id: int | None = Field(default=None, foreign_key="run.id", unique=True)


class Product(SQLModel, table=True):
    __tablename__ = "product"
    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    formula_id: int | None = Field(default=None, foreign_key="formula.id")
    trial_id: int | None = Field(default=None, foreign_key="trial.id")
    made_at: str


class Specification(SQLModel, table=True):
    """A version of what one response of a product has to meet."""

    __tablename__ = "specification"
    __table_args__ = (
        UniqueConstraint("product_id", "response", "version"),
        CheckConstraint("lower IS NULL OR upper IS NULL OR lower < upper", name="limits_in_order"),
        _finite("lower"),
        _finite("upper"),
        _finite("target"),
    )
    id: int | None = Field(default=None, primary_key=True)
    product_id: int = Field(foreign_key="product.id")
    response: str
    unit: str = ""
    version: int = 1
    lower: float | None = None
    upper: float | None = None
    target: float | None = None
    reason: str = ""


class Lot(SQLModel, table=True):
    """A delivery of an ingredient."""

    __tablename__ = "lot"
    __table_args__ = (UniqueConstraint("ingredient", "code"),)
    id: int | None = Field(default=None, primary_key=True)
    ingredient: str
    code: str
    received_on: str | None = None


class Batch(SQLModel, table=True):
    """A day's production of a product."""

    __tablename__ = "batch"
    __table_args__ = (UniqueConstraint("product_id", "number"), Index("batch_in_order", "product_id", "baked_at"))
    id: int | None = Field(default=None, primary_key=True)
    product_id: int = Field(foreign_key="product.id")
    number: str
    baked_at: str
    line: str = ""
    oven: str = ""
    shift: str = ""


class BatchLot(SQLModel, table=True):
    """Which lots went into a batch (and so which batches a lot went into)."""

    __tablename__ = "batch_lot"
    __table_args__ = (UniqueConstraint("batch_id", "lot_id"),)
    id: int | None = Field(default=None, primary_key=True)
    batch_id: int = Field(foreign_key="batch.id")
    lot_id: int = Field(foreign_key="lot.id")


class Bake(SQLModel, table=True):
    """One mixing and baking: carries out a run, or is a batch of a product."""

    __tablename__ = "bake"
    __table_args__ = (CheckConstraint("(run_id IS NULL) <> (batch_id IS NULL)", name="run_or_batch"),)
    id: int | None = Field(default=None, primary_key=True)
    run_id: int | None = Field(default=None, foreign_key="run.id", unique=True)
    batch_id: int | None = Field(default=None, foreign_key="batch.id", unique=True)
    made_at: str


class Outcome(SQLModel, table=True):
    """How a bake ended; the row nothing replaces is the current one."""

    __tablename__ = "outcome"
    __table_args__ = (
        _one_of("state", "done", "failed", "skipped"),
        CheckConstraint("state = 'done' OR length(reason) > 0", name="reason_given"),
        _finite("oven_temperature_c"),
        Index("outcome_of_bake", "bake_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    bake_id: int = Field(foreign_key="bake.id")
    state: str
    reason: str = ""
    deviations: str = ""
    oven_temperature_c: float | None = None
    person_id: int = Field(foreign_key="person.id")
    at: str
    replaces_id: int | None = Field(default=None, foreign_key="outcome.id", unique=True)


class Weighing(SQLModel, table=True):
    """What was really weighed, when it was not what the sheet asked for."""

    __tablename__ = "weighing"
    __table_args__ = (
        CheckConstraint("grams >= 0 AND grams <= 1000000", name="grams_range"),
        CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        Index("weighing_of_bake", "bake_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    bake_id: int = Field(foreign_key="bake.id")
    ingredient: str
    grams: float
    person_id: int = Field(foreign_key="person.id")
    at: str
    replaces_id: int | None = Field(default=None, foreign_key="weighing.id", unique=True)
    reason: str = ""


class Piece(SQLModel, table=True):
    """A loaf, cake or cookie out of a bake."""

    __tablename__ = "piece"
    __table_args__ = (UniqueConstraint("bake_id", "number"), CheckConstraint("number >= 1", name="number_positive"))
    id: int | None = Field(default=None, primary_key=True)
    bake_id: int = Field(foreign_key="bake.id")
    number: int


class ImportFile(SQLModel, table=True):
    """A spreadsheet as it came, kept with its hash; the same file comes into a trial or product once."""

    __tablename__ = "import_file"
    __table_args__ = (
        CheckConstraint("(trial_id IS NULL) <> (product_id IS NULL)", name="trial_or_product"),
        # Two plain constraints: one over all three columns would never bite, since NULLs differ.
        UniqueConstraint("trial_id", "sha256"),
        UniqueConstraint("product_id", "sha256"),
    )
    id: int | None = Field(default=None, primary_key=True)
    trial_id: int | None = Field(default=None, foreign_key="trial.id")
    product_id: int | None = Field(default=None, foreign_key="product.id")
    name: str
    sha256: str
    content: bytes = Field(sa_type=LargeBinary)
    person_id: int = Field(foreign_key="person.id")
    at: str


class Reading(SQLModel, table=True):
    """One value of one response from a bake or a piece.

    For a trial ``response_id`` is set; for a batch ``response`` names it. ``void`` rows
    carry no value and end their chain of corrections.
    """

    __tablename__ = "reading"
    __table_args__ = (
        CheckConstraint("(value IS NULL) = void", name="void_has_no_value"),
        CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        CheckConstraint("NOT void OR replaces_id IS NOT NULL", name="void_replaces"),
        CheckConstraint("repeat >= 1", name="repeat_positive"),
        _finite("value"),
        Index("reading_of_bake", "bake_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    bake_id: int = Field(foreign_key="bake.id")
    piece_id: int | None = Field(default=None, foreign_key="piece.id")
    response_id: int | None = Field(default=None, foreign_key="response.id")
    response: str
    repeat: int = 1
    value: float | None
    implausible: bool = False
    person_id: int = Field(foreign_key="person.id")
    instrument_id: int | None = Field(default=None, foreign_key="instrument.id")
    import_file_id: int | None = Field(default=None, foreign_key="import_file.id")
    at: str
    void: bool = False
    replaces_id: int | None = Field(default=None, foreign_key="reading.id", unique=True)
    reason: str = ""


class TasteNote(SQLModel, table=True):
    """Free words about a bake or a piece; ``tags`` is a JSON list of short words."""

    __tablename__ = "taste_note"
    __table_args__ = (
        CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        CheckConstraint("NOT void OR replaces_id IS NOT NULL", name="void_replaces"),
        Index("taste_note_of_bake", "bake_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    bake_id: int = Field(foreign_key="bake.id")
    piece_id: int | None = Field(default=None, foreign_key="piece.id")
    words: str = ""
    tags: str = "[]"
    person_id: int = Field(foreign_key="person.id")
    at: str
    void: bool = False
    replaces_id: int | None = Field(default=None, foreign_key="taste_note.id", unique=True)
    reason: str = ""


class AuditEntry(SQLModel, table=True):
    """One change: who, when, what, why, chained by hashes.

    ``hash`` = SHA-256 over the canonical JSON of all fields but ``hash`` itself
    (``previous_hash`` included). UNIQUE(previous_hash) keeps the chain from forking.
    ``old`` and ``new`` are rows as canonical JSON; ``person_id`` has no foreign key, so
    that an entry stands whatever happens elsewhere.
    """

    __tablename__ = "audit_entry"
    __table_args__ = (
        CheckConstraint("sequence >= 1", name="sequence_positive"),
        Index("audit_entry_of_row", "table_name", "row_id"),
    )
    sequence: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    at: str
    zone: str
    person_id: int | None
    action: str
    table_name: str
    row_id: int
    old: str | None = None
    new: str | None = None
    reason: str = ""
    version: str
    previous_hash: str = Field(unique=True)
    hash: str = Field(unique=True)
