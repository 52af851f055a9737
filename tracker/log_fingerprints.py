"""Is this the same log of a product as the one a report was made from?

SHA-256 over what stands of it: the same for the same content on any database. Numbers that a
database hands out, people and moments of entry are left out; what was agreed, promised, frozen,
found and decided is in it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from sqlmodel import Session, select

from tracker.audit import canonical, sha256
from tracker.current import rows_of, standing
from tracker.current_batches import CurrentBatch, current_batches, find_product
from tracker.models import (
    AcceptanceRule,
    AlarmAnswer,
    AlarmEntry,
    Batch,
    Disposition,
    Expectation,
    Formula,
    LoggedResponse,
    PhaseEntry,
    PhaseLimits,
    Product,
    Specification,
    Trial,
)
from tracker.store import Store


def product_hash(store: Store, product: str) -> str:
    """The hash of a product's log as it stands. Raises NotFound with the nearest name."""
    with store.read() as session:
        return product_hash_in(session, find_product(session, product))


def product_hash_in(session: Session, product: Product) -> str:
    """The same within a session that is open already."""
    formula = session.get(Formula, product.formula_id) if product.formula_id is not None else None
    batches = current_batches(session, product)
    decisions = _latest(rows_of(session, Disposition, Disposition.batch_id, [each.id for each in batches]))
    return sha256(
        canonical(
            {
                "product": product.name,
                "formula": [formula.name, formula.version] if formula else None,
                "trial": _trial(session, product.trial_id),
                "responses": _responses(session, product),
                "specifications": _specifications(session, product),
                "expectations": _expectations(session, product),
                "batches": [_batch(each, decisions.get(each.id)) for each in batches],
                "phases": _phases(session, product),
                "alarms": _alarms(session, product),
                "rules": _rules(session, product),
            }
        )
    )


def _trial(session: Session, number: int | None) -> str | None:
    trial = session.get(Trial, number) if number is not None else None
    return trial.name if trial else None


def _responses(session: Session, product: Product) -> list[list[Any]]:
    rows = standing(session.exec(select(LoggedResponse).where(LoggedResponse.product_id == product.id)))
    return sorted([row.name, row.unit, row.scale, row.stands_for] for row in rows)


def _specifications(session: Session, product: Product) -> list[list[Any]]:
    rows = session.exec(select(Specification).where(Specification.product_id == product.id))
    said = [[row.response, row.version, row.unit, row.lower, row.upper, row.target, row.reason] for row in rows]
    return sorted(said, key=lambda each: (each[0], each[1]))


def _expectations(session: Session, product: Product) -> list[list[Any]]:
    rows = standing(session.exec(select(Expectation).where(Expectation.product_id == product.id)))
    said = [
        [row.response, row.mean, row.sd, _trial(session, row.trial_id), json.loads(row.settings), row.content_hash]
        for row in rows
    ]
    return sorted(said, key=lambda each: str(each[0]))


def _batch(batch: CurrentBatch, decision: Disposition | None) -> dict[str, Any]:
    return {
        "number": batch.number,
        "baked_at": batch.baked_at,
        "line": batch.line,
        "oven": batch.oven,
        "shift": batch.shift,
        "lots": {name: [lot.code, lot.received_on, lot.opened_on] for name, lot in batch.lots.items()},
        "readings": sorted(
            [each.response, each.piece or 0, each.repeat, each.value, each.size or 0.0] for each in batch.readings
        ),
        "decision": None if decision is None else [decision.decision, decision.reason],
    }


def _phases(session: Session, product: Product) -> list[dict[str, Any]]:
    rows = list(session.exec(select(PhaseEntry).where(PhaseEntry.product_id == product.id)))
    limits = rows_of(session, PhaseLimits, PhaseLimits.phase_id, [row.id for row in rows])
    named = {row.from_batch_id for row in rows}
    named |= {number for each in limits for number in (each.first_batch_id, each.last_batch_id)}
    batches = {row.id: row.number for row in rows_of(session, Batch, Batch.id, sorted(named))}
    said = [
        {
            **row.model_dump(include={"response", "number", "kind", "reason"}),
            "from": batches[row.from_batch_id],
            "rules": json.loads(row.rules),
            "settings": json.loads(row.settings),
            "limits": [
                {
                    **each.model_dump(exclude={"id", "phase_id", "first_batch_id", "last_batch_id", "numbers"}),
                    "numbers": json.loads(each.numbers),
                    "from": batches[each.first_batch_id],
                    "to": batches[each.last_batch_id],
                }
                for each in limits
                if each.phase_id == row.id
            ],
        }
        for row in rows
    ]
    return sorted(said, key=lambda each: (each["response"], each["number"]))


def _alarms(session: Session, product: Product) -> list[list[Any]]:
    """Alarms that stand: batch, what was found, and what became of it; their numbers are left out."""
    rows = list(session.exec(select(AlarmEntry).where(AlarmEntry.product_id == product.id)))
    answers: dict[int, AlarmAnswer] = {}
    for answer in rows_of(session, AlarmAnswer, AlarmAnswer.alarm_id, [row.id for row in rows]):
        answers[answer.alarm_id] = answer
    named = sorted({number for row in rows for number in (row.batch_id, row.since_batch_id)})
    batches = {row.id: row.number for row in rows_of(session, Batch, Batch.id, named)}
    said = []
    for row in rows:
        last = answers.get(row.id or 0)
        if last is None or last.state != "withdrawn":
            became = [last.state, last.cause, last.action] if last else ["open", "", ""]
            over = [batches[row.batch_id], batches[row.since_batch_id]]
            said.append([*over, row.response, row.chart, row.rule, row.side, row.value, *became])
    return sorted(said, key=lambda each: [str(part) for part in each])


def _rules(session: Session, product: Product) -> list[list[Any]]:
    rows = session.exec(select(AcceptanceRule).where(AcceptanceRule.product_id == product.id))
    said = [[row.response, row.version, json.loads(row.rule), row.reason] for row in rows]
    return sorted(said, key=lambda each: (each[0], each[1]))


def _latest(rows: Iterable[Disposition]) -> dict[int, Disposition]:
    return {row.batch_id: row for row in rows}
