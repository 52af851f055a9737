"""Which lots came in, when were they opened, and which batches did each go into?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlmodel import col, select

from analysis.words.numbers import say_count
from tracker.current import standing
from tracker.current_batches import CurrentLot, current_batches, lots_as_they_stand
from tracker.errors import InputError, UsageError
from tracker.intake.moments import read_day
from tracker.models import LotDates, Product
from tracker.store import Store
from tracker.workflow.batch_writing import find_or_make_lot
from tracker.workflow.lookup import key


@dataclass(frozen=True, kw_only=True)
class LotLine:
    """A lot with its dates and the batches it went into (product, number)."""

    ingredient: str
    code: str
    received_on: str | None
    opened_on: str | None
    batches: tuple[tuple[str, str], ...] = ()
    done: str = ""

    def words(self) -> str:
        dates = ", ".join(
            f"{what} {day}" for what, day in (("received", self.received_on), ("opened", self.opened_on)) if day
        )
        into = f"; {say_count(len(self.batches), 'batch')}" if self.batches else "; no batch yet"
        if self.batches:
            numbers = [number for _, number in self.batches]
            into += f": {numbers[0]}" + (f" to {numbers[-1]}" if len(numbers) > 1 else "")
        return f"{self.ingredient} {self.code}: {dates or 'no dates'}{into}"

    def to_json(self) -> dict[str, Any]:
        return {
            "ingredient": self.ingredient,
            "lot": self.code,
            "received_on": self.received_on,
            "opened_on": self.opened_on,
            "batches": [{"product": product, "batch": number} for product, number in self.batches],
        }


def list_lots(store: Store, ingredient: str | None = None) -> tuple[LotLine, ...]:
    """Every lot, as they came, with the batches each went into."""
    with store.read() as session:
        lots = lots_as_they_stand(session)
        into: dict[int, list[tuple[str, str]]] = {}
        for product in session.exec(select(Product).order_by(col(Product.id))).all():
            for batch in current_batches(session, product):
                for lot in batch.lots.values():
                    into.setdefault(lot.id, []).append((product.name, batch.number))
    kept = [lot for lot in lots.values() if ingredient is None or lot.ingredient.casefold() == ingredient.casefold()]
    return tuple(_line(lot, tuple(into.get(lot.id, ()))) for lot in kept)


def _line(lot: CurrentLot, batches: tuple[tuple[str, str], ...] = (), done: str = "") -> LotLine:
    return LotLine(
        ingredient=lot.ingredient,
        code=lot.code,
        received_on=lot.received_on,
        opened_on=lot.opened_on,
        batches=batches,
        done=done,
    )


def add_lot(
    store: Store,
    text: str,
    *,
    received: str | None = None,
    opened: str | None = None,
    reason: str = "",
    person: int = 1,
) -> LotLine:
    """A lot ("flour=F-341") with the days it came in and was opened; other days than stand need a reason.

    Raises InputError for days in the wrong order or a missing reason.
    """
    ingredient, equals, code = (" ".join(part.split()) for part in text.partition("="))
    if not equals or not ingredient or not code:
        raise UsageError(f'"{text}" names no lot.', where="batch lot add", try_this='"flour=F-341"')
    new = {
        "received_on": read_day(received, where="--received") if received else None,
        "opened_on": read_day(opened, where="--opened") if opened else None,
    }
    with store.write(person=person, action="enter lot", reason=reason.strip()) as deed:
        lot = find_or_make_lot(deed, ingredient, code)
        stands = lots_as_they_stand(deed.session, [key(lot)])[key(lot)]
        dates = {name: day or getattr(stands, name) for name, day in new.items()}
        _check(text, dates, stands, reason.strip())
        rows = standing(deed.session.exec(select(LotDates).where(LotDates.lot_id == lot.id)))
        if dates != {"received_on": stands.received_on, "opened_on": stands.opened_on}:
            replaced = rows[-1].id if rows else None
            why = reason.strip() or ("a day was added" if replaced else "")
            deed.add(
                LotDates(
                    lot_id=key(lot),
                    received_on=dates["received_on"],
                    opened_on=dates["opened_on"],
                    person_id=person,
                    at=deed.at,
                    replaces_id=replaced,
                    reason=why,
                )
            )
        return _line(lots_as_they_stand(deed.session, [key(lot)])[key(lot)])


def _check(text: str, dates: dict[str, str | None], stands: CurrentLot, reason: str) -> None:
    received, opened = dates["received_on"], dates["opened_on"]
    if received and opened and received > opened:
        raise InputError(
            f"Lot {text} would be opened on {opened}, before it came in on {received}.",
            where="batch lot add",
            try_this="check both days",
        )
    changed = [
        name for name, day in dates.items() if getattr(stands, name) is not None and day != getattr(stands, name)
    ]
    if changed and not reason:
        raise InputError(
            f"Lot {text} has another day already ({getattr(stands, changed[0])}).",
            where="batch lot add",
            try_this='--reason "read off the wrong sack"',
        )
