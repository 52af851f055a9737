"""What does the page of one run show: what to weigh, what is asked, what stands?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import col, select

from tracker.current import find_trial, rows_of, standing
from tracker.intake.numbers import number_text
from tracker.intake.values import anchors_of
from tracker.models import (
    Bake,
    BakeMoment,
    Outcome,
    Photo,
    PhotoErasure,
    Piece,
    Reading,
    Response,
    Run,
    TasteNote,
    Trial,
    Weighing,
)
from tracker.store import Store
from tracker.workflow.erasing import erasures_of
from tracker.workflow.lookup import find_run, responses_of, runs_of, state_of
from tracker.workflow.photos import PhotoView, photo_views
from tracker.workflow.run_entries import EntryLine, entry_lines
from tracker.workflow.said import said_outcome, said_reading
from tracker.workflow.sheets import make_sheet

if TYPE_CHECKING:
    from reports.sheet import SheetRun

__all__ = ["Cell", "EntryLine", "ResponseView", "RunView", "WeightView", "run_view"]


@dataclass(frozen=True, kw_only=True)
class WeightView:
    """One line to weigh; ``really`` is what was weighed instead, "" when it was as asked."""

    ingredient: str
    grams: str
    note: str
    really: str
    entry: int | None = None  # the number of the entry that stands


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One value that is asked for; ``stands`` "" while it is not recorded."""

    piece: int | None
    repeat: int
    stands: str
    unlikely: bool
    entry: int | None = None  # the number of the reading that stands

    @property
    def key(self) -> str:
        return f"{self.piece or 0}-{self.repeat}"


@dataclass(frozen=True, kw_only=True)
class ResponseView:
    """One response with its cells, piece by piece."""

    number: int  # its place in the plan, from 1
    name: str
    unit: str
    scale: str
    anchors: tuple[str, ...]
    low: float | None
    high: float | None
    least: float | None  # what lies outside these is impossible and is refused
    most: float | None
    pieces: int
    cells: tuple[Cell, ...]

    @property
    def missing(self) -> int:
        return sum(1 for cell in self.cells if not cell.stands)


@dataclass(frozen=True, kw_only=True)
class RunView:
    """``moments``: what -> RFC 3339 in UTC. ``entries`` newest first, each can be undone while nothing replaced it."""

    trial: str
    title: str
    code: str
    bake_order: int
    runs: int
    place: str
    closed: bool
    method: str
    weights: tuple[WeightView, ...]
    settings: tuple[tuple[str, str], ...]
    responses: tuple[ResponseView, ...]
    state: str
    reason: str
    deviations: str
    oven: str
    moments: dict[str, str]
    entries: tuple[EntryLine, ...]
    photos: tuple[PhotoView, ...]
    taken_back: tuple[PhotoView, ...]  # photos that are shown no more, and are still in the record
    before: str
    after: str

    @property
    def missing(self) -> int:
        return sum(response.missing for response in self.responses)

    @property
    def outcome(self) -> str:
        """How the bake went, as it is recorded."""
        return said_outcome(self.state, self.oven, self.deviations)

    @property
    def pieces(self) -> int:
        """How many pieces the plan asks to be read, at most."""
        return max((response.pieces for response in self.responses), default=1)


def run_view(store: Store, trial: str, code: str) -> RunView:
    """Everything of one run at once. Raises NotFound with the nearest name."""
    sheet = make_sheet(store, trial, only=code)
    ((day, shown),) = [(day, run) for day in sheet.days for run in day.runs]
    with store.read() as session:
        found = find_trial(session, trial)
        runs = runs_of(session, found)
        run = find_run(runs, code, trial=trial)
        bake = session.exec(select(Bake).where(Bake.run_id == run.id)).first()
        numbers = [bake.id] if bake else []
        pieces = {row.id: row.number for row in rows_of(session, Piece, Piece.bake_id, numbers)}
        readings = rows_of(session, Reading, Reading.bake_id, numbers)
        weighings = rows_of(session, Weighing, Weighing.bake_id, numbers)
        outcomes = rows_of(session, Outcome, Outcome.bake_id, numbers)
        moments = rows_of(session, BakeMoment, BakeMoment.bake_id, numbers)
        notes = rows_of(session, TasteNote, TasteNote.bake_id, numbers)
        photos = rows_of(session, Photo, Photo.bake_id, numbers)
        responses = responses_of(session, found)
        erased = erasures_of(session, [row.id or 0 for row in photos])
        erasures = rows_of(session, PhotoErasure, PhotoErasure.photo_id, list(erased))
        closed = state_of(session, found) == "closed"
        entered = (*readings, *weighings, *outcomes, *moments, *notes, *photos, *erasures)
        entries = entry_lines(session, responses, pieces, entered)
    ended = next(iter(standing(outcomes)), None)
    at, views = runs.index(run), photo_views(photos, pieces, erased)
    return RunView(
        trial=found.name,
        title=found.title,
        code=run.code,
        bake_order=run.bake_order,
        runs=len(runs),
        place=day.block or "",
        closed=closed,
        method=sheet.method,
        weights=_weights(shown, standing(weighings)),
        settings=(*shown.set_once, *shown.settings, *((name, label) for name, label in shown.places)),
        responses=tuple(_response(each, standing(readings), pieces) for each in responses),
        state=ended.state if ended else "",
        reason=ended.reason if ended else "",
        deviations=ended.deviations if ended else "",
        oven="" if ended is None or ended.oven_temperature_c is None else number_text(ended.oven_temperature_c),
        moments={row.what: row.moment for row in standing(moments)},
        entries=entries,
        photos=tuple(view for view in views if not view.taken_back),
        taken_back=tuple(view for view in views if view.taken_back and not view.erased),
        before=runs[at - 1].code if at else "",
        after=runs[at + 1].code if at + 1 < len(runs) else "",
    )


def trial_of_code(store: Store, code: str) -> list[tuple[str, int]]:
    """Trials that take entries and have a run of this code, with its place in the order of baking."""
    with store.read() as session:
        rows = session.exec(
            select(Trial, Run.bake_order).where(Run.trial_id == Trial.id, Run.code == code).order_by(col(Trial.id))
        ).all()
        return [(trial.name, order) for trial, order in rows if state_of(session, trial) != "closed"]


def _weights(shown: SheetRun, weighed: list[Weighing]) -> tuple[WeightView, ...]:
    really = {row.ingredient: (number_text(row.grams), row.id) for row in weighed}
    return tuple(_weight(w.ingredient, w.grams, w.note, *really.get(w.ingredient, ("", None))) for w in shown.weights)


def _weight(ingredient: str, grams: str, note: str, really: str, entry: int | None) -> WeightView:
    return WeightView(ingredient=ingredient, grams=grams, note=note, really=really, entry=entry)


def _response(response: Response, stands: list[Reading], pieces: dict[int | None, int]) -> ResponseView:
    mine = [reading for reading in stands if reading.response_id == response.id]
    have = {(pieces.get(reading.piece_id) if reading.piece_id else None, reading.repeat): reading for reading in mine}
    asked: list[tuple[int | None, int]] = [
        (piece, repeat)
        for piece in (range(1, response.pieces + 1) if response.pieces > 1 else (None,))
        for repeat in range(1, response.readings + 1)
    ]
    # What came in another way (a whole bake's value, a further reading) is shown behind what the plan asks for.
    places = [*asked, *sorted(set(have) - set(asked), key=lambda place: (place[0] or 0, place[1]))]
    return ResponseView(
        number=response.position,
        name=response.name,
        unit=response.unit,
        scale=response.scale,
        anchors=anchors_of(response),
        low=response.plausible_low,
        high=response.plausible_high,
        least=response.possible_low,
        most=response.possible_high,
        pieces=response.pieces,
        cells=tuple(_cell(response, piece, repeat, have.get((piece, repeat))) for piece, repeat in places),
    )


def _cell(response: Response, piece: int | None, repeat: int, reading: Reading | None) -> Cell:
    return Cell(
        piece=piece,
        repeat=repeat,
        stands="" if reading is None else said_reading(response, reading.value),
        unlikely=reading is not None and reading.implausible,
        entry=None if reading is None else reading.id,
    )
