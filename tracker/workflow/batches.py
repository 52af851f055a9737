"""Which batches of a product were baked, from which lots, and how did they turn out?

The daily log beside the trials: a product, its batches in the order of baking, the lots
that went into each (and so the batches a lot went into), readings piece by piece. How it is
written: ``logging_batches``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from tracker.current_batches import (
    CurrentBatch,
    current_batch,
    current_batches,
    find_batch,
    find_product,
    lots_as_they_stand,
)
from tracker.intake.mapping import snake
from tracker.intake.numbers import number_text
from tracker.models import Batch, BatchChange, BatchLotChange, Disposition, Reading
from tracker.workflow.exporting import Column, Exported

if TYPE_CHECKING:
    from tracker.store import Store


@dataclass(frozen=True, kw_only=True)
class BatchLine:
    """One batch as it stands: ``values`` maps a response to its standing readings, piece by piece.

    ``sizes`` holds for counts what they were taken out of; ``ages`` the days since each lot was
    opened (else since it came in), where that is known; ``decision`` the latest disposition.
    """

    number: str
    baked_at: str
    line: str
    oven: str
    shift: str
    lots: Mapping[str, str]
    values: Mapping[str, tuple[float, ...]]
    sizes: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    ages: Mapping[str, int] = field(default_factory=dict)
    void: bool = False
    decision: str = ""
    changes: tuple[str, ...] = ()

    def words(self) -> str:
        lots = ", ".join(f"{ingredient} {code}" for ingredient, code in self.lots.items())
        parts = (
            self.number,
            ", ".join(part for part in (self.line, self.oven, self.shift) if part),
            "; ".join(self._means()) or "nothing read",
            f"lots: {lots}" if lots else "",
            self.decision,
            "(taken back)" if self.void else "",
        )
        return "  ".join(part for part in parts if part)

    def summary(self) -> str:
        """The whole batch: when and where, lots with their age, every reading, what was changed."""
        made = ", ".join(part for part in (self.line, self.oven, self.shift) if part)
        lines = [f"Batch {self.number}, baked at {self.baked_at}" + (f", {made}" if made else "")]
        for name, code in self.lots.items():
            age = self.ages.get(name)
            lines.append(f"  {name} lot {code}" + ("" if age is None else f", {age} days old"))
        for name, values in self.values.items():
            shown = ", ".join(number_text(value) for value in values)
            of = f" of {', '.join(number_text(size) for size in self.sizes[name])}" if name in self.sizes else ""
            lines.append(f"  {name}: {shown}{of}")
        lines += [f"  {change}" for change in self.changes]
        lines += ["  It was taken back and counts no longer."] if self.void else []
        lines += [f"  Decided: {self.decision}"] if self.decision else []
        return "\n".join(lines)

    def holds(self) -> str:
        """All that was entered of it on one line, every reading as it stands: two that differ read otherwise."""
        said = [f"baked at {self.baked_at}", *(part for part in (self.line, self.oven, self.shift) if part)]
        for name, values in self.values.items():
            of = f" of {', '.join(number_text(size) for size in self.sizes[name])}" if name in self.sizes else ""
            said.append(f"{name} {', '.join(number_text(value) for value in values)}{of}")
        said += [f"{name} lot {code}" for name, code in self.lots.items()]
        return "; ".join([*said, *(["taken back"] if self.void else [])])

    def _means(self) -> list[str]:
        said = []
        for name, values in self.values.items():
            if name in self.sizes:
                said.append(f"{name} {sum(values):g} of {sum(self.sizes[name]):g}")
            elif values:
                said.append(f"{name} {sum(values) / len(values):.1f} (mean of {len(values)})")
        return said

    def to_json(self) -> dict[str, Any]:
        return {
            "batch": self.number,
            "baked_at": self.baked_at,
            "line": self.line,
            "oven": self.oven,
            "shift": self.shift,
            "lots": dict(self.lots),
            "lot_age_days": dict(self.ages),
            "readings": {name: list(values) for name, values in self.values.items()},
            "sizes": {name: list(sizes) for name, sizes in self.sizes.items()},
            "void": self.void,
            "decision": self.decision or None,
            "changes": list(self.changes),
        }


def list_batches(store: Store, product: str, *, void: bool = False) -> tuple[BatchLine, ...]:
    """The batches of a product in order of baking; ``void`` gives those taken back as well.

    Raises NotFound with the nearest name.
    """
    with store.read() as session:
        its = find_product(session, product)
        batches = current_batches(session, its, void=void)
        rows = session.exec(select(Disposition).order_by(col(Disposition.id))).all()
    decided = {row.batch_id: row.decision for row in rows}
    return tuple(line_of(batch, decided.get(batch.id, "")) for batch in batches)


def show_batch(store: Store, product: str, number: str) -> BatchLine:
    """One batch as it stands, taken back or not. Raises NotFound."""
    with store.read() as session:
        row = find_batch(session, find_product(session, product), number)
        batch = current_batch(session, row)
        wanted = select(Disposition.decision).where(Disposition.batch_id == row.id).order_by(col(Disposition.id).desc())
        decision = session.exec(wanted).first()
        changes = _changes_of(session, row, batch)
    return replace(line_of(batch, decision or ""), changes=changes)


def _changes_of(session: Session, row: Batch, batch: CurrentBatch) -> tuple[str, ...]:
    """What was put right, in the order of entry, each with its reason."""
    said: list[tuple[str, str]] = []
    for change in session.exec(select(BatchChange).where(BatchChange.batch_id == row.id)):
        what = {"void": "taken back" if change.value == "yes" else "let stand again"}.get(
            change.detail, f'{change.detail.replace("_", " ")} "{change.value}"'
        )
        said.append((change.at, f"{what}: {change.reason}"))
    lots = lots_as_they_stand(session)
    for moved in session.exec(select(BatchLotChange).where(BatchLotChange.batch_id == row.id)):
        code = lots[moved.lot_id].code if moved.lot_id is not None else "none"
        said.append((moved.at, f"lot of {moved.ingredient} {code}: {moved.reason}"))
    corrected = select(Reading).where(Reading.bake_id == batch.bake_id, col(Reading.replaces_id).is_not(None))
    for reading in session.exec(corrected):
        old = session.get(Reading, reading.replaces_id)
        was = "" if old is None or old.value is None else f" (was {number_text(old.value)})"
        now = "taken back" if reading.value is None else number_text(reading.value)
        said.append((reading.at, f"{reading.response} {now}{was}: {reading.reason}"))
    return tuple(f"{at[:16].replace('T', ' ')}  {what}" for at, what in sorted(said, key=lambda pair: pair[0]))


def line_of(batch: CurrentBatch, decision: str = "") -> BatchLine:
    names = list(dict.fromkeys(reading.response for reading in batch.readings))
    ages = {name: lot.age_days(batch.baked_at) for name, lot in batch.lots.items()}
    sizes = {
        name: tuple(each.size for each in batch.readings if each.response == name and each.size is not None)
        for name in names
    }
    return BatchLine(
        number=batch.number,
        baked_at=batch.baked_at,
        line=batch.line,
        oven=batch.oven,
        shift=batch.shift,
        lots={name: lot.code for name, lot in batch.lots.items()},
        values={name: batch.values(name) for name in names},
        sizes={name: found for name, found in sizes.items() if found},
        ages={name: age for name, age in ages.items() if age is not None},
        void=batch.void,
        decision=decision,
    )


def batch_table(product: str, lines: Sequence[BatchLine]) -> Exported:
    """One row for each reading, in order of baking, ready to be written as CSV."""
    ingredients = list(dict.fromkeys(name for line in lines for name in line.lots))
    counted = any(line.sizes for line in lines)
    columns = (
        Column(name="batch", meaning="number of the batch", kind="code"),
        Column(name="baked_at", meaning="when it was baked (UTC)", kind="time"),
        Column(name="line", meaning="production line", kind="category"),
        Column(name="oven", meaning="oven", kind="category"),
        Column(name="shift", meaning="shift", kind="category"),
        *(Column(name=snake(f"{name} lot", ""), meaning=f"lot of {name}", kind="category") for name in ingredients),
        Column(name="piece", meaning="number of the piece out of this batch", kind="count"),
        Column(name="response", meaning="what was measured", kind="category"),
        Column(name="value", meaning="the reading", kind="measured"),
        *((Column(name="size", meaning="what a count was taken out of", kind="count"),) if counted else ()),
    )
    rows = tuple(
        (
            *(line.number, line.baked_at, line.line, line.oven, line.shift),
            *(line.lots.get(name) for name in ingredients),
            *(number, response, value),
            *((_size(line, response, number),) if counted else ()),
        )
        for line in lines
        for response, values in line.values.items()
        for number, value in enumerate(values, start=1)
    )
    return Exported(trial=product, columns=columns, rows=rows)


def _size(line: BatchLine, response: str, number: int) -> float | None:
    sizes = line.sizes.get(response, ())
    return sizes[number - 1] if number <= len(sizes) else None
