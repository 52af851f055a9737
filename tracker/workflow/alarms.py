"""Which alarms stand, what was found to have caused them, and how often was it that?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from sqlmodel import Session, col, select

from tracker.current import rows_of
from tracker.current_batches import find_product
from tracker.errors import Conflict, InputError, NotFound, UsageError
from tracker.models import AlarmAnswer, AlarmEntry, Batch, PhaseEntry, Product
from tracker.store import Store
from tracker.workflow.alarm_lines import (
    ACKNOWLEDGED,
    ANSWERED,
    OPEN,
    WITHDRAWN,
    AlarmLine,
    CauseLine,
    Causes,
    alarms_text,
)
from tracker.workflow.logged_responses import find_response, responses_of
from tracker.workflow.lookup import key
from tracker.workflow.recorded_alarms import latest_answers

__all__ = ["AlarmLine", "Causes", "alarms_text", "answer_alarms", "causes_of", "list_alarms", "read_numbers"]

MOST_DIGITS, MOST_AT_ONCE = 19, 1000


def list_alarms(
    store: Store, product: str, *, open_only: bool = False, response: str | None = None, withdrawn: bool = False
) -> tuple[AlarmLine, ...]:
    """Alarms of a product by number; those that were withdrawn only when asked for.

    ``open_only``: those without a cause. Raises NotFound with the nearest name.
    """
    with store.read() as session:
        its = find_product(session, product)
        name = find_response(responses_of(session, its), response, product=product).name if response else None
        lines = _lines(session, its)
    return tuple(
        line
        for line in lines
        if name in (None, line.response)
        and (withdrawn or line.state != WITHDRAWN)
        and (not open_only or line.state in (OPEN, ACKNOWLEDGED))
    )


def _lines(session: Session, product: Product, numbers: Sequence[int] = ()) -> list[AlarmLine]:
    wanted = select(AlarmEntry).where(AlarmEntry.product_id == product.id)
    if numbers:
        wanted = wanted.where(col(AlarmEntry.number).in_(list(numbers)))
    rows = list(session.exec(wanted.order_by(col(AlarmEntry.number))))
    units = {row.name: row.unit for row in responses_of(session, product)}
    last = latest_answers(session, [row.id or 0 for row in rows])
    ids = {number for row in rows for number in (row.batch_id, row.since_batch_id)}
    batches = {batch.id: batch.number for batch in rows_of(session, Batch, Batch.id, sorted(ids))}
    phases = {row.id: row.number for row in session.exec(select(PhaseEntry).where(PhaseEntry.product_id == product.id))}
    return [
        AlarmLine(
            number=row.number,
            batch=batches[row.batch_id],
            since=batches[row.since_batch_id],
            response=row.response,
            unit=units.get(row.response, ""),
            chart=row.chart,
            rule=row.rule,
            side=row.side,
            value=row.value,
            phase=phases.get(row.phase_id),
            at=row.at,
            state=answer.state if answer else OPEN,
            cause=answer.cause if answer else "",
            action=answer.action if answer else "",
            reason=answer.reason if answer else "",
        )
        for row in rows
        for answer in (last.get(row.id or 0),)
    ]


def answer_alarms(
    store: Store,
    product: str,
    numbers: Sequence[int],
    *,
    cause: str = "",
    action: str = "",
    person: int = 1,
) -> tuple[AlarmLine, ...]:
    """Say what caused alarms and what was done; with neither they are acknowledged (seen).

    Each answer is an entry; what an earlier one said of cause or action stands until it is said
    anew. Raises NotFound for an unknown number, Conflict for an alarm that was withdrawn.
    """
    cause, action = " ".join(cause.split()), " ".join(action.split())
    if not numbers:
        raise InputError("No alarm was named.", where="batch answer", try_this=f'crumbwise batch alarms "{product}"')
    with store.write(person=person, action="answer alarm") as deed:
        its = find_product(deed.session, product)
        rows = [_alarm(deed.session, its, number) for number in dict.fromkeys(numbers)]
        last = latest_answers(deed.session, [key(row) for row in rows])
        for row in rows:
            before = last.get(key(row))
            if before is not None and before.state == WITHDRAWN:
                raise Conflict(
                    f"Alarm {row.number} was withdrawn: {before.reason}.",
                    where=f'product "{product}"',
                    try_this=f'crumbwise batch alarms "{product}" --open',
                )
            found = cause or (before.cause if before else "")
            done = action or (before.action if before else "")
            if done and not found:
                raise InputError(
                    f"An action answers a cause, and alarm {row.number} has none yet.",
                    where=f"alarm {row.number}",
                    try_this='--cause "what it was", or "not found" when it stays unknown',
                )
            deed.add(
                AlarmAnswer(
                    alarm_id=key(row),
                    state=ANSWERED if found else ACKNOWLEDGED,
                    cause=found,
                    action=done,
                    person_id=person,
                    at=deed.at,
                )
            )
        return tuple(_lines(deed.session, its, [row.number for row in rows]))


def read_numbers(texts: Sequence[str]) -> list[int]:
    """ "7" and "7-12" as numbers of alarms. Raises UsageError."""
    numbers: list[int] = []
    for text in texts:
        first, dash, last = text.partition("-")
        if not first.isdecimal() or (dash and not last.isdecimal()) or len(text) > MOST_DIGITS:
            raise UsageError(f'"{text}" is no number of an alarm.', where="batch answer", try_this="7, or 7-12")
        ends = int(first), int(last) if dash else int(first)
        if not 0 < ends[0] <= ends[1] < ends[0] + MOST_AT_ONCE:
            raise UsageError(
                f'"{text}" does not go from a first alarm to a later one (at most {MOST_AT_ONCE} at once).',
                where="batch answer",
                try_this="7-12",
            )
        numbers += range(ends[0], ends[1] + 1)
    return numbers


def _alarm(session: Session, product: Product, number: int) -> AlarmEntry:
    wanted = select(AlarmEntry).where(AlarmEntry.product_id == product.id, AlarmEntry.number == number)
    row = session.exec(wanted).first()
    if row is None:
        raise NotFound(
            f'"{product.name}" has no alarm {number}.',
            where=f'product "{product.name}"',
            try_this=f'crumbwise batch alarms "{product.name}"',
        )
    return row


def causes_of(store: Store, product: str) -> Causes:
    """How often each cause was named, the most frequent first; spellings that differ in capitals are one."""
    lines = list_alarms(store, product)
    answered = [line for line in lines if line.state == ANSWERED]
    folded: dict[str, list[AlarmLine]] = {}
    for line in answered:
        folded.setdefault(line.cause.casefold(), []).append(line)
    found = [
        CauseLine(
            cause=Counter(line.cause for line in own).most_common(1)[0][0],
            alarms=len(own),
            batches=len({line.batch for line in own}),
            last_batch=own[-1].batch,
            actions=tuple(dict.fromkeys(line.action for line in own if line.action)),
        )
        for own in folded.values()
    ]
    ordered = sorted(found, key=lambda each: (-each.alarms, each.cause.casefold()))
    return Causes(causes=tuple(ordered), open=len(lines) - len(answered))
