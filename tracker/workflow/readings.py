"""How is one reading kept beside those that stand?

A second value for the same piece and repeat is refused unless it is meant: as a
correction, which replaces the first and says why, or as another reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session

from tracker.deeds import Deed
from tracker.errors import Conflict, InputError, UsageError
from tracker.intake.values import Value, anchors_of, with_unit
from tracker.models import Bake, Piece, Reading, Response
from tracker.workflow import standing
from tracker.workflow.lookup import key, piece_numbered
from tracker.workflow.recorded import Written
from tracker.workflow.said import said_reading

KEPT_WITH_A_REASON = "An unlikely value is kept with a reason."
MOST_PIECES = 10_000  # of one bake, and as many readings of one piece: beyond that it is a slip


@dataclass(frozen=True, kw_only=True)
class Entry:
    """How one call is meant: who, when, why, and whether it corrects what stands (``seen``, where that is known)."""

    person: int
    at: str
    reason: str
    correct: bool
    again: bool
    piece: int | None
    repeat: int | None
    seen: str = ""


def piece_id(deed: Deed, bake: Bake, number: int | None) -> int | None:
    if number is None:
        return None
    if not 1 <= number <= MOST_PIECES:
        raise InputError(
            f"Pieces count from 1 to {MOST_PIECES:,}.", where="piece", try_this="the number of the piece in its row"
        )
    return piece_numbered(deed.session, bake, number) or deed.add_row(Piece, bake_id=key(bake), number=number)


def split_value(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals or not name.strip() or not value.strip():
        raise UsageError(
            f'"{text}" names no value.', where="trial record", try_this='"rise height=42.5" or "rise height=42.5 41.8"'
        )
    return name.strip(), value.strip()


def split_texts(text: str, response: Response) -> list[str]:
    """The readings in "42.5 41.8"; words of an anchor stay together, and the own unit may stand behind."""
    if text.casefold() in [word.casefold() for word in anchors_of(response)]:
        return [text]
    if response.unit and text.endswith(response.unit) and text[: -len(response.unit)].strip():
        text = text[: -len(response.unit)]
    return text.replace(";", " ").split()


def warnings_of(read: Sequence[Value], entry: Entry) -> list[str]:
    warnings = [value.warning for value in read if value.warning]
    if warnings and not entry.reason:
        raise InputError(
            f"{' '.join(warnings)} {KEPT_WITH_A_REASON}",
            where=warnings[0].partition(": ")[0],
            try_this='--reason "measured twice, the loaf had a blown crust", or write the value again',
        )
    return [f"{warning} Kept, because: {entry.reason}" for warning in warnings]


def standing_readings(
    session: Session, bake: Bake, response: Response, piece: int | None, repeat: int | None = None
) -> list[Reading]:
    return [reading for number, reading in _all(session, bake, response, repeat) if number == piece]


def readings_meant(
    session: Session, bake: Bake, response: Response, piece: int | None, repeat: int | None = None
) -> list[tuple[int | None, Reading]]:
    """What stands, with its piece, in the order of pieces; without ``piece`` on every piece and on the whole bake."""
    found = [each for each in _all(session, bake, response, repeat) if piece in (None, each[0])]
    return sorted(found, key=lambda each: each[0] or 0)


def _all(session: Session, bake: Bake, response: Response, repeat: int | None) -> list[tuple[int | None, Reading]]:
    """Each standing reading with the number of its piece, in order of entry."""
    found = [
        reading
        for reading in standing.readings_of_response(session, bake, response.id)
        if repeat in (None, reading.repeat)
    ]
    if not any(reading.piece_id for reading in found):
        return [(None, reading) for reading in found]
    pieces: dict[int | None, int] = {its.id: number for number, its in standing.pieces_of(session, bake).items()}
    return [(pieces.get(reading.piece_id), reading) for reading in found]


def write_readings(
    deed: Deed, bake: Bake, response: Response, read: Sequence[Value], entry: Entry, place: str
) -> list[Written]:
    stands = readings_meant(deed.session, bake, response, entry.piece, entry.repeat) if entry.correct else []
    if stands and len(stands) != len(read):
        shown = ", ".join(_shown(number, reading, response) for number, reading in stands)
        which = "--piece" if entry.piece is None and any(number for number, _ in stands) else "--repeat"
        raise Conflict(
            f"{response.name} has {len(stands)} readings there ({shown}) and {len(read)} "
            f"{'was' if len(read) == 1 else 'were'} given.",
            where=place,
            try_this=f"{which} 1 says which one to correct",
        )
    if entry.seen and [said_reading(response, old.value) for _, old in stands] != [entry.seen]:
        shown = ", ".join(_shown(number, reading, response) for number, reading in stands) or "taken back"
        raise Conflict(
            f"Somebody changed it meanwhile; {response.name} is recorded already: {shown}.",
            where=place,
            try_this="look at what stands first",
        )
    if stands:
        return [_replace(deed, old, response, value, entry) for (_, old), value in zip(stands, read, strict=True)]
    if entry.piece is None and len(read) == response.pieces > 1:
        # One value for each piece, in the order of the pieces.
        return [
            _write_one(deed, bake, response, value, entry, number, place) for number, value in enumerate(read, start=1)
        ]
    _refuse_second(deed.session, bake, response, entry, entry.piece, place)
    return [_add(deed, bake, response, value, entry, entry.piece) for value in read]


def _shown(piece: int | None, reading: Reading, response: Response) -> str:
    """ "piece 2: 42.5 mm"."""
    return (f"piece {piece}: " if piece else "") + with_unit(reading.value or 0.0, response)


def _write_one(
    deed: Deed, bake: Bake, response: Response, value: Value, entry: Entry, piece: int, place: str
) -> Written:
    _refuse_second(deed.session, bake, response, entry, piece, place)
    return _add(deed, bake, response, value, entry, piece)


def _there(
    session: Session, bake: Bake, response: Response, piece: int | None, repeat: int | None
) -> list[tuple[int | None, Reading]]:
    return [(piece, reading) for reading in standing_readings(session, bake, response, piece, repeat)]


def _refuse_second(
    session: Session, bake: Bake, response: Response, entry: Entry, piece: int | None, place: str
) -> None:
    # Where the plan asks for pieces, a value that names none would be counted beside them.
    among = readings_meant if response.pieces > 1 else _there
    stands = among(session, bake, response, piece, entry.repeat)
    room = 1 if entry.repeat is not None else response.readings
    if len(stands) >= room and not (entry.again and entry.repeat is None):
        shown = ", ".join(_shown(None if piece else number, reading, response) for number, reading in stands)
        raise Conflict(
            f"{response.name} is recorded already: {shown}.",
            where=place + (f", piece {piece}" if piece else ""),
            try_this='--correct --reason "…" replaces it, --again adds another reading',
        )


def _add(deed: Deed, bake: Bake, response: Response, value: Value, entry: Entry, piece: int | None) -> Written:
    repeat = entry.repeat or _next_repeat(deed.session, bake, response, piece)
    deed.add_row(
        Reading,
        bake_id=key(bake),
        piece_id=piece_id(deed, bake, piece),
        response_id=response.id,
        response=response.name,
        repeat=repeat,
        value=value.value,
        implausible=bool(value.warning),
        person_id=entry.person,
        at=entry.at,
        reason=entry.reason if value.warning else "",
    )
    return _written(response, value.value, piece, repeat, implausible=bool(value.warning))


def _next_repeat(session: Session, bake: Bake, response: Response, piece: int | None) -> int:
    taken = {reading.repeat for reading in standing_readings(session, bake, response, piece)}
    return next(number for number in range(1, len(taken) + 2) if number not in taken)


def _replace(deed: Deed, old: Reading, response: Response, value: Value, entry: Entry) -> Written:
    return _successor(deed, old, response, entry, value.value, implausible=bool(value.warning))


def void(deed: Deed, old: Reading, response: Response, entry: Entry) -> Written:
    return _successor(deed, old, response, entry, None)


def _successor(
    deed: Deed, old: Reading, response: Response, entry: Entry, value: float | None, *, implausible: bool = False
) -> Written:
    deed.add(
        Reading(
            bake_id=old.bake_id,
            piece_id=old.piece_id,
            response_id=response.id,
            response=response.name,
            repeat=old.repeat,
            value=value,
            void=value is None,
            implausible=implausible,
            person_id=entry.person,
            at=entry.at,
            replaces_id=old.id,
            reason=entry.reason,
        )
    )
    piece = deed.session.get(Piece, old.piece_id) if old.piece_id is not None else None
    number = piece.number if piece else None
    return _written(response, value, number, old.repeat, implausible=implausible, was=old.value)


def _written(
    response: Response,
    value: float | None,
    piece: int | None,
    repeat: int,
    *,
    implausible: bool = False,
    was: float | None = None,
) -> Written:
    return Written(
        response=response.name,
        unit=response.unit,
        value=value,
        piece=piece,
        repeat=repeat,
        implausible=implausible,
        was=was,
    )
