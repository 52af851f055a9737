"""How is a batch mended that was typed wrong, or taken back?

Every correction is a new entry with a reason; what stood before stays readable. The batch is
judged anew at once, with those behind it that share its patterns.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from tracker.current_batches import CurrentBatch, CurrentReading, current_batch, find_batch, find_product
from tracker.deeds import Deed
from tracker.errors import Conflict, InputError, NotFound, UsageError
from tracker.intake.moments import read_moment
from tracker.intake.numbers import number_text
from tracker.intake.piece_readings import PieceReading, read_pieces
from tracker.models import Batch, BatchChange, BatchLotChange, LoggedResponse, Product, Reading, ReadingSize
from tracker.store import Store
from tracker.workflow.batch_notices import check_ingredients, clock_notices, new_lots
from tracker.workflow.batch_writing import find_or_make_lot
from tracker.workflow.batches import line_of
from tracker.workflow.logged_responses import find_response, responses_of
from tracker.workflow.lookup import key
from tracker.workflow.quick_entry import told, zone_of
from tracker.workflow.recorded_alarms import judge_following
from tracker.workflow.verdicts import BatchVerdict

NONE = "-"  # typed instead of a lot: none of it went in


@dataclass(frozen=True, kw_only=True)
class Mended:
    """What is to be put right; None and empty: as it stands.

    ``readings`` are texts such as "rise height=43.1, 42.8" (all pieces anew), or with ``piece`` one
    of them; ``take_back`` names responses whose readings count no longer; ``void`` the whole batch.
    """

    at: str | None = None
    line: str | None = None
    oven: str | None = None
    shift: str | None = None
    lots: tuple[str, ...] = ()
    readings: tuple[str, ...] = ()
    piece: int | None = None
    take_back: tuple[str, ...] = ()
    void: bool | None = None

    @property
    def nothing(self) -> bool:
        details = (self.at, self.line, self.oven, self.shift, self.void)
        return all(each is None for each in details) and not (self.lots or self.readings or self.take_back)


@dataclass
class _Doing:
    """One correction within its transaction; ``done`` grows word by word."""

    deed: Deed
    product: Product
    row: Batch
    stands: CurrentBatch
    person: int
    reason: str
    done: list[str] = field(default_factory=list)

    @property
    def who(self) -> dict[str, Any]:
        return {"person_id": self.person, "at": self.deed.at, "reason": self.reason}


def correct_batch(
    store: Store, product: str, number: str, mended: Mended, *, reason: str, person: int = 1, seen: str = ""
) -> BatchVerdict:
    """Put a batch right, judge it anew, and enter or withdraw alarms; one transaction.

    ``seen`` are the words of what stood when the correction was begun (``BatchLine.holds``), if that is known:
    what somebody else put right since then is not undone unseen.

    Raises InputError without a reason or for a value that cannot be, UsageError when nothing
    would change, NotFound for unknown names, Conflict for what does not fit what stands.
    """
    reason = reason.strip()
    if not reason:
        raise InputError("A correction needs a reason.", where="batch correct", try_this='--reason "oven typed wrong"')
    if mended.nothing:
        raise UsageError("Nothing to put right was given.", where="batch correct", try_this="--oven lower")
    with store.write(person=person, action="correct batch", reason=reason) as deed:
        its = find_product(deed.session, product)
        row = find_batch(deed.session, its, number.strip())
        doing = _Doing(deed, its, row, current_batch(deed.session, row), person, reason)
        _refuse_unseen(doing, seen)
        _refuse_taken_back(doing, mended)
        _details(doing, mended)
        notices = _lots(doing, mended.lots)
        _readings(doing, mended)
        if not doing.done:
            raise UsageError(
                f"Batch {row.number} stands like that already.", where="batch correct", try_this="another value"
            )
        batch = current_batch(deed.session, row)
        if mended.at is not None and not batch.void:
            notices += clock_notices(deed.session, its, batch, datetime.fromisoformat(deed.at))
        done = f'Batch {row.number} of "{product}" is corrected: {"; ".join(doing.done)}.'
        return _judged(doing, batch, done, notices)


def _refuse_unseen(doing: _Doing, seen: str) -> None:
    now = line_of(doing.stands).holds()
    if seen and seen != now:
        raise Conflict(
            f"Somebody put this batch right meanwhile. It stands as: {now}. You saw: {seen}.",
            where=f"batch {doing.row.number}",
            try_this="look at what stands, then put right what is still wrong",
        )


def _judged(doing: _Doing, batch: CurrentBatch, done: str, notices: Sequence[str]) -> BatchVerdict:
    """The verdict as it stands now; those behind the place it has moved away from are judged too."""
    reason = f"batch {batch.number} was corrected"
    said = told(doing.deed, doing.product, batch, done, person=doing.person, notices=notices, reason=reason)
    if batch.place != doing.stands.place:
        more = judge_following(doing.deed, doing.product, doing.stands.place, person=doing.person, reason=reason)
        said = replace(said, changes=said.changes + more)
    return said


def _refuse_taken_back(doing: _Doing, mended: Mended) -> None:
    if doing.stands.void and mended.void is not False:
        raise Conflict(
            f"Batch {doing.row.number} was taken back.",
            where=f'product "{doing.product.name}"',
            try_this=f'crumbwise batch correct "{doing.product.name}" {doing.row.number} --unvoid --reason "…"',
        )


def _details(doing: _Doing, mended: Mended) -> None:
    new: dict[str, str] = {}
    if mended.at is not None:
        new["baked_at"] = read_moment(mended.at, zone=zone_of(doing.deed.session), where="--at")
    new |= {
        name: value.strip()
        for name, value in (("line", mended.line), ("oven", mended.oven), ("shift", mended.shift))
        if value is not None
    }
    for name, value in new.items():
        was = getattr(doing.stands, name)
        if was != value:
            doing.deed.add(BatchChange(batch_id=key(doing.row), detail=name, value=value, **doing.who))
            doing.done.append(f'{name.replace("_", " ")} "{value}" (was "{was}")')
    if mended.void is not None and mended.void != doing.stands.void:
        value = "yes" if mended.void else "no"
        doing.deed.add(BatchChange(batch_id=key(doing.row), detail="void", value=value, **doing.who))
        doing.done.append("taken back, it counts no longer" if mended.void else "it stands again")


def _lots(doing: _Doing, texts: Iterable[str]) -> list[str]:
    typed: dict[str, str] = {}
    for text in texts:
        name, equals, code = (part.strip() for part in text.partition("="))
        if not equals or not name or not code:
            raise UsageError(f'"{text}" says nothing.', where="--lot", try_this='--lot "flour=F-311" or "flour=-"')
        typed[name] = code
    ingredients, notices = check_ingredients(doing.deed.session, doing.product, typed)
    notices += new_lots(doing.deed.session, [{ingredients[name]: code} for name, code in typed.items() if code != NONE])
    for name, code in typed.items():
        ingredient = ingredients[name]
        was = doing.stands.lots.get(ingredient)
        if (was.code if was else NONE) == code:
            continue
        lot = None if code == NONE else find_or_make_lot(doing.deed, ingredient, code)
        doing.deed.add(
            BatchLotChange(
                batch_id=key(doing.row), ingredient=ingredient, lot_id=key(lot) if lot else None, **doing.who
            )
        )
        doing.done.append(f"lot of {ingredient} {code if lot else 'none'} (was {was.code if was else 'none'})")
    return notices


def _readings(doing: _Doing, mended: Mended) -> None:
    known = responses_of(doing.deed.session, doing.product)
    for text in mended.readings:
        name, equals, value = (part.strip() for part in text.rpartition("="))
        if not equals or not value:
            raise UsageError(f'"{text}" says nothing.', where="--reading", try_this='--reading "rise height=43.1"')
        response = find_response(known, name, product=doing.product.name)
        _replace(doing, response, value, mended.piece)
    for name in mended.take_back:
        response = find_response(known, name, product=doing.product.name)
        old = _standing(doing, response, mended.piece)
        for each in old:
            _succeed(doing, each, None)
        shown = ", ".join(number_text(each.value) for each in old)
        doing.done.append(f"{response.name} {shown} taken back")


def _replace(doing: _Doing, response: LoggedResponse, text: str, piece: int | None) -> None:
    new = read_pieces(text, scale=response.scale, what=response.name, unit=response.unit, where="--reading")
    old = _standing(doing, response, piece)
    if len(old) != len(new):
        raise Conflict(
            f"Batch {doing.row.number} has {len(old)} readings of {response.name} "
            f"({', '.join(number_text(each.value) for each in old)}) and {len(new)} were given.",
            where=f"batch {doing.row.number}",
            try_this=f'all of them in order, or --piece 2 --reading "{response.name}=…"',
        )
    for was, value in zip(old, new, strict=True):
        if (was.value, was.size) != (value.value, value.size):
            _succeed(doing, was, value)
            which = f", piece {was.piece}" if was.piece and len(doing.stands.values(response.name)) > 1 else ""
            of = f" of {number_text(value.size)}" if value.size else ""
            doing.done.append(f"{response.name}{which} {number_text(value.value)}{of} (was {number_text(was.value)})")


def _standing(doing: _Doing, response: LoggedResponse, piece: int | None) -> list[CurrentReading]:
    own = [each for each in doing.stands.readings if each.response == response.name]
    found = [each for each in own if piece in (None, each.piece)]
    if not found:
        none = f"no reading of {response.name}" + (f" on piece {piece}" if own and piece else "")
        raise NotFound(
            f"Batch {doing.row.number} has {none} to correct.",
            where=f"batch {doing.row.number}",
            try_this=f"--piece {own[0].piece}"
            if own
            else f'crumbwise batch log "{doing.product.name}" {doing.row.number} --more --reading "{response.name}=…"',
        )
    return found


def _succeed(doing: _Doing, old: CurrentReading, value: PieceReading | None) -> None:
    row = _row(doing.deed.session, old)
    new = doing.deed.add(
        Reading(
            bake_id=row.bake_id,
            piece_id=row.piece_id,
            response=row.response,
            repeat=row.repeat,
            value=None if value is None else value.value,
            void=value is None,
            replaces_id=row.id,
            **doing.who,
        )
    )
    if value is not None and value.size is not None:
        doing.deed.add(ReadingSize(reading_id=key(new), size=value.size))


def _row(session: Session, reading: CurrentReading) -> Reading:
    row = session.get(Reading, reading.id)
    assert row is not None
    return row
