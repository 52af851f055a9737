"""How does a technician log one batch and see at once what it is?

One call, one transaction: the batch, its lots and readings, its verdict and its alarms.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from sqlmodel import Session, select

from tracker.current_batches import CurrentBatch, current_batch, find_batch, find_product
from tracker.deeds import Deed
from tracker.errors import Conflict, InputError, UsageError
from tracker.intake.moments import read_moment, stamp_of
from tracker.intake.piece_readings import PieceReading, read_pieces
from tracker.models import Bake, Kitchen, LoggedResponse, Product
from tracker.store import Store
from tracker.workflow.acceptance import said_by_rules
from tracker.workflow.batch_notices import check_ingredients, clock_notices, new_lots
from tracker.workflow.batch_writing import BatchEntry, check_entries, write_batches, write_readings
from tracker.workflow.logged_responses import find_response, responses_of
from tracker.workflow.lookup import key
from tracker.workflow.recorded_alarms import judge_and_record
from tracker.workflow.verdicts import BatchVerdict, verdicts_of

Read = tuple[LoggedResponse, tuple[PieceReading, ...]]


def log_batch(
    store: Store,
    product: str,
    number: str,
    *,
    at: str | None = None,
    line: str = "",
    oven: str = "",
    shift: str = "",
    lots: Iterable[str] = (),
    readings: Iterable[str] = (),
    person: int = 1,
) -> BatchVerdict:
    """Log one batch, judge it and enter its alarms.

    ``at`` is when it was baked, as typed (now when left out); ``lots`` are texts such as
    "flour=F-311", ``readings`` such as "rise height=43.1, 42.8". Raises NotFound with the nearest
    name, Conflict when the number is taken, InputError for a reading that is no number.
    """
    number = _number(number)
    typed_lots = _lots(lots)
    typed = [_pair(text, "--reading", "rise height=43.1, 42.8") for text in readings]
    with store.write(person=person, action="log batch") as deed:
        its = find_product(deed.session, product)
        read = _read(deed.session, its, typed)
        ingredients, notices = check_ingredients(deed.session, its, typed_lots)
        entry = _entry(
            number,
            _when(deed, at),
            (line.strip(), oven.strip(), shift.strip()),
            {ingredients[name]: code for name, code in typed_lots.items()},
            read,
        )
        check_entries([entry])
        notices += new_lots(deed.session, [entry.lots])
        write_batches(deed, its, [entry], person=person)
        batch = current_batch(deed.session, find_batch(deed.session, its, entry.number))
        notices += clock_notices(deed.session, its, batch, datetime.fromisoformat(deed.at))
        done = f'Batch {number} of "{product}" is logged, baked at {batch.baked_at}.'
        return told(deed, its, batch, done, person=person, notices=notices)


def add_readings(store: Store, product: str, number: str, readings: Iterable[str], *, person: int = 1) -> BatchVerdict:
    """Add readings of responses that a logged batch was not read for yet.

    Raises Conflict for a response that has readings already: those are corrected.
    """
    typed = [_pair(text, "--reading", "rise height=43.1, 42.8") for text in readings]
    if not typed:
        raise UsageError("No reading was given.", where="batch log", try_this='--reading "pH=7.1"')
    with store.write(person=person, action="add readings") as deed:
        its = find_product(deed.session, product)
        row = find_batch(deed.session, its, number.strip())
        stands = current_batch(deed.session, row)
        if stands.void:
            raise Conflict(
                f"Batch {number} was taken back.",
                where=f'product "{product}"',
                try_this=f'crumbwise batch correct "{product}" {number} --unvoid --reason "…"',
            )
        read = _read(deed.session, its, typed)
        for response, _ in read:
            if stands.values(response.name):
                raise Conflict(
                    f"Batch {number} has readings of {response.name} already.",
                    where=f"batch {number}",
                    try_this=f'crumbwise batch correct "{product}" {number} --reading "{response.name}=…" --reason "…"',
                )
        entry = _entry(number, deed.at, (stands.line, stands.oven, stands.shift), {}, read)
        check_entries([entry])
        bake = deed.session.exec(select(Bake).where(Bake.batch_id == row.id)).first()
        bake = bake or deed.add(Bake(batch_id=row.id, made_at=stands.baked_at))
        write_readings(deed, [(key(bake), entry)], person, None)
        batch = current_batch(deed.session, row)
        return told(deed, its, batch, f'Batch {number} of "{product}" has further readings.', person=person)


def told(
    deed: Deed,
    product: Product,
    batch: CurrentBatch,
    done: str,
    *,
    person: int,
    notices: Sequence[str] = (),
    reason: str = "the batch was judged anew",
) -> BatchVerdict:
    """Judge a batch that was written, enter or withdraw alarms, and say all of it."""
    known = {row.name: row for row in responses_of(deed.session, product)}
    judged, changes = judge_and_record(deed, product, batch, list(known.values()), person=person, reason=reason)
    return BatchVerdict(
        product=product.name,
        batch=batch.number,
        baked_at=batch.baked_at,
        done=done,
        verdicts=verdicts_of(deed.session, product, batch, judged, known),
        notices=tuple(notices),
        changes=changes,
        rules=said_by_rules(deed.session, product, batch, known.values()),
        void=batch.void,
    )


def zone_of(session: Session) -> str:
    return session.exec(select(Kitchen.zone)).first() or "UTC"


def _number(number: str) -> str:
    number = " ".join(number.split())
    if not number:
        raise InputError("A batch needs a number.", where="batch log", try_this='crumbwise batch log "scones" 121')
    return number


def _pair(text: str, option: str, example: str) -> tuple[str, str]:
    # No reading holds "=", while the name of a response may; a lot's code may.
    parts = text.rpartition("=") if option == "--reading" else text.partition("=")
    name, equals, value = (part.strip() for part in parts)
    if not equals or not name or not value:
        raise UsageError(f'"{text}" says nothing.', where=option, try_this=f'{option} "{example}"')
    return name, value


def _lots(texts: Iterable[str]) -> dict[str, str]:
    lots: dict[str, str] = {}
    for name, code in (_pair(text, "--lot", "flour=F-311") for text in texts):
        if lots.setdefault(name, code) != code:
            raise UsageError(
                f"Two lots of {name} were given: {lots[name]} and {code}.",
                where="--lot",
                try_this="the one that most of the batch was made of; where a lot runs out, begin another batch",
            )
    return lots


def _when(deed: Deed, at: str | None) -> str:
    if at is None:
        return stamp_of(datetime.fromisoformat(deed.at))
    return read_moment(at, zone=zone_of(deed.session), where="--at")


def _read(session: Session, product: Product, typed: Sequence[tuple[str, str]]) -> list[Read]:
    known = responses_of(session, product)
    read: list[Read] = []
    for name, text in typed:
        response = find_response(known, name, product=product.name)
        if any(other.name == response.name for other, _ in read):
            raise UsageError(
                f"{response.name} was given twice.",
                where="--reading",
                try_this=f'one --reading "{response.name}=…" with all its pieces',
            )
        values = read_pieces(text, scale=response.scale, what=response.name, unit=response.unit, where="--reading")
        read.append((response, values))
    return read


def _entry(number: str, at: str, made: tuple[str, str, str], lots: dict[str, str], read: Sequence[Read]) -> BatchEntry:
    line, oven, shift = made
    return BatchEntry(
        number=number,
        baked_at=at,
        line=line,
        oven=oven,
        shift=shift,
        lots=lots,
        readings={response.name: tuple(each.value for each in values) for response, values in read},
        sizes={
            response.name: tuple(each.size or 1.0 for each in values)
            for response, values in read
            if response.scale != "measured"
        },
    )
