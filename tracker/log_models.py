"""What is recorded of daily batches beside the batches themselves?

Products and batches stood in the first tables and keep their columns, so that the entries
made of them still agree; what came later has tables of its own. Every one only grows: what
stands is the row nothing replaces or, where rows tell one story in turn (changes of a
batch, answers to an alarm, dispositions), the latest.
"""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from tracker.model_checks import finite, given, one_of

STANDS_FOR = ("", "rise", "pH", "gas", "oven temperature", "bake loss")
SCALES = ("measured", "share", "rate")


class LoggedResponse(SQLModel, table=True):
    """A response that batches of a product are read for.

    ``scale``: "measured"; "share" (pieces that are so, out of how many); "rate" (places on so
    many pieces or units of area). ``stands_for`` is what chemistry may take it for ("" nothing).
    """

    __tablename__ = "logged_response"
    __table_args__ = (
        one_of("scale", *SCALES),
        one_of("stands_for", *STANDS_FOR),
        CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        Index("logged_response_of_product", "product_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    product_id: int = Field(foreign_key="product.id")
    name: str
    unit: str = ""
    scale: str = "measured"
    stands_for: str = ""
    person_id: int = Field(foreign_key="person.id")
    at: str
    replaces_id: int | None = Field(default=None, foreign_key="logged_response.id", unique=True)
    reason: str = ""


class Expectation(SQLModel, table=True):
    """What a trial promised of one response: mean and standard deviation of a batch's mean.

    ``settings`` is the recommended treatment (JSON, factor -> value), ``content_hash`` that of
    the trial when it was asked.
    """

    __tablename__ = "expectation"
    __table_args__ = (
        CheckConstraint("sd > 0", name="sd_positive"),
        finite("mean"),
        finite("sd"),
        CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        Index("expectation_of_product", "product_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    product_id: int = Field(foreign_key="product.id")
    response: str
    mean: float
    sd: float
    trial_id: int = Field(foreign_key="trial.id")
    settings: str = "{}"
    content_hash: str
    person_id: int = Field(foreign_key="person.id")
    at: str
    replaces_id: int | None = Field(default=None, foreign_key="expectation.id", unique=True)
    reason: str = ""


class LotDates(SQLModel, table=True):
    """When a lot came in and when it was opened (YYYY-MM-DD); the row nothing replaces holds."""

    __tablename__ = "lot_dates"
    __table_args__ = (
        CheckConstraint("received_on IS NULL OR opened_on IS NULL OR received_on <= opened_on", name="dates_in_order"),
        CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        Index("lot_dates_of_lot", "lot_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="lot.id")
    received_on: str | None = None
    opened_on: str | None = None
    person_id: int = Field(foreign_key="person.id")
    at: str
    replaces_id: int | None = Field(default=None, foreign_key="lot_dates.id", unique=True)
    reason: str = ""


class BatchChange(SQLModel, table=True):
    """One detail of a batch that was typed wrong, or "void" ("yes" takes the batch back, "no" lets it stand again)."""

    __tablename__ = "batch_change"
    __table_args__ = (
        one_of("detail", "baked_at", "line", "oven", "shift", "void"),
        CheckConstraint("detail <> 'void' OR value IN ('yes', 'no')", name="void_is_yes_or_no"),
        given("reason"),
        Index("batch_change_of_batch", "batch_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    batch_id: int = Field(foreign_key="batch.id")
    detail: str
    value: str
    person_id: int = Field(foreign_key="person.id")
    at: str
    reason: str


class BatchLotChange(SQLModel, table=True):
    """Another lot of an ingredient than was typed (None: none of it went in)."""

    __tablename__ = "batch_lot_change"
    __table_args__ = (given("reason"), Index("batch_lot_change_of_batch", "batch_id"))
    id: int | None = Field(default=None, primary_key=True)
    batch_id: int = Field(foreign_key="batch.id")
    ingredient: str
    lot_id: int | None = Field(default=None, foreign_key="lot.id")
    person_id: int = Field(foreign_key="person.id")
    at: str
    reason: str


class BatchFile(SQLModel, table=True):
    """Which file a batch came from."""

    __tablename__ = "batch_file"
    __table_args__ = (UniqueConstraint("batch_id", "import_file_id"), Index("batch_file_of_file", "import_file_id"))
    id: int | None = Field(default=None, primary_key=True)
    batch_id: int = Field(foreign_key="batch.id")
    import_file_id: int = Field(foreign_key="import_file.id")


class ReadingSize(SQLModel, table=True):
    """Out of how many pieces, or on how much, a count was taken."""

    __tablename__ = "reading_size"
    __table_args__ = (CheckConstraint("size > 0", name="size_positive"), finite("size"))
    id: int | None = Field(default=None, primary_key=True)
    reading_id: int = Field(foreign_key="reading.id", unique=True)
    size: float


class PhaseEntry(SQLModel, table=True):
    """From a batch on, frozen limits hold for a response: by whom, why, for which chart and rules.

    ``rules`` is a JSON list of the rules' words, ``settings`` a JSON object of what the chart was asked.
    """

    __tablename__ = "phase"
    __table_args__ = (
        UniqueConstraint("product_id", "response", "number"),
        CheckConstraint("number >= 1", name="number_positive"),
        given("reason"),
    )
    id: int | None = Field(default=None, primary_key=True)
    product_id: int = Field(foreign_key="product.id")
    response: str
    number: int
    from_batch_id: int = Field(foreign_key="batch.id")
    kind: str
    rules: str = "[]"
    settings: str = "{}"
    person_id: int = Field(foreign_key="person.id")
    at: str
    reason: str


class PhaseLimits(SQLModel, table=True):
    """The frozen limits of one chart of a phase, and the batches they were worked out from.

    ``numbers`` is a JSON object: what the kind of chart needs to judge a further batch.
    """

    __tablename__ = "phase_limits"
    __table_args__ = (
        UniqueConstraint("phase_id", "chart"),
        CheckConstraint("lower IS NULL OR upper IS NULL OR lower <= upper", name="limits_in_order"),
        CheckConstraint("sd >= 0", name="sd_not_negative"),
        *map(finite, ("lower", "centre", "upper", "sd")),
    )
    id: int | None = Field(default=None, primary_key=True)
    phase_id: int = Field(foreign_key="phase.id")
    chart: str
    lower: float | None = None
    centre: float
    upper: float | None = None
    sd: float
    method: str
    batches: int
    first_batch_id: int = Field(foreign_key="batch.id")
    last_batch_id: int = Field(foreign_key="batch.id")
    provisional: bool = False
    numbers: str = "{}"


class AlarmEntry(SQLModel, table=True):
    """A rule that a batch completed, as it was found: against which phase (None: provisional limits)."""

    __tablename__ = "alarm"
    __table_args__ = (
        UniqueConstraint("product_id", "number"),
        one_of("side", "above", "below", ""),
        finite("value"),
        Index("alarm_of_batch", "batch_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    product_id: int = Field(foreign_key="product.id")
    number: int
    response: str
    chart: str
    rule: str
    batch_id: int = Field(foreign_key="batch.id")
    since_batch_id: int = Field(foreign_key="batch.id")
    value: float
    side: str = ""
    phase_id: int | None = Field(default=None, foreign_key="phase.id")
    at: str


class AlarmAnswer(SQLModel, table=True):
    """What became of an alarm; the latest row tells. Each holds cause and action as they stand after it."""

    __tablename__ = "alarm_answer"
    __table_args__ = (
        one_of("state", "acknowledged", "answered", "withdrawn"),
        CheckConstraint("state <> 'answered' OR length(cause) > 0", name="cause_given"),
        CheckConstraint("state <> 'withdrawn' OR length(reason) > 0", name="reason_given"),
        Index("alarm_answer_of_alarm", "alarm_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    alarm_id: int = Field(foreign_key="alarm.id")
    state: str
    cause: str = ""
    action: str = ""
    person_id: int = Field(foreign_key="person.id")
    at: str
    reason: str = ""


class AcceptanceRule(SQLModel, table=True):
    """By which rule batches of a product are sent out; the latest version holds.

    ``rule`` is a JSON object with the rule's numbers and its ``by`` ("count" or "mean"); "{}" ends it.
    """

    __tablename__ = "acceptance_rule"
    __table_args__ = (
        UniqueConstraint("product_id", "response", "version"),
        CheckConstraint("version >= 1", name="version_positive"),
        CheckConstraint("version = 1 OR length(reason) > 0", name="reason_given"),
    )
    id: int | None = Field(default=None, primary_key=True)
    product_id: int = Field(foreign_key="product.id")
    response: str
    version: int = 1
    rule: str = "{}"
    person_id: int = Field(foreign_key="person.id")
    at: str
    reason: str = ""


class Disposition(SQLModel, table=True):
    """What was decided of a batch; the latest row tells. ``rule`` is what a rule said then (JSON; "{}" none)."""

    __tablename__ = "disposition"
    __table_args__ = (
        one_of("decision", "accept", "hold", "reject"),
        given("reason"),
        Index("disposition_of_batch", "batch_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    batch_id: int = Field(foreign_key="batch.id")
    decision: str
    rule: str = "{}"
    person_id: int = Field(foreign_key="person.id")
    at: str
    reason: str
