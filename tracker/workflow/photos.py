"""Which photos are there of a run, and how is one kept?

A photo belongs to a bake or one of its pieces. It is kept as ``tracker.intake.pictures`` has
made it: the picture and nothing else. Taking one back is a new entry (``run_entries``); it is
then shown nowhere, and stays in the record.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from sqlmodel import select

from tracker.current import standing
from tracker.errors import InputError, IntegrityError, NotFound
from tracker.intake.picture_heads import picture_head
from tracker.intake.pictures import LARGEST_BYTES, Picture, read_picture, sha256_of, small_picture
from tracker.models import Bake, Photo, PhotoContent
from tracker.store import Store
from tracker.workflow.erasing import LARGEST_NUMBER, Erased, erasures_of
from tracker.workflow.lookup import find_run, find_trial, key, refuse_closed, runs_of
from tracker.workflow.readings import MOST_PIECES, piece_id
from tracker.workflow.standing import bake_of

__all__ = [
    "LARGEST_BYTES",
    "MOST_PIECES",
    "PhotoView",
    "check_photos",
    "keep_photo",
    "keep_photo_file",
    "photo",
    "photo_views",
]

MOST_SIGNS = 400


@dataclass(frozen=True, kw_only=True)
class PhotoView:
    """``piece`` is None for the whole bake; ``at`` RFC 3339 in UTC; sides in pixels.

    ``erased``: its bytes are gone. ``taken_back``: shown nowhere, and still in the record unless it was erased.
    """

    number: int
    piece: int | None
    words: str
    at: str
    width: int
    height: int
    erased: Erased | None = None
    taken_back: bool = False


@dataclass(frozen=True, kw_only=True)
class KeptPhoto:
    """A photo that was kept; sides in pixels."""

    trial: str
    run: str
    number: int
    piece: int | None
    width: int
    height: int
    sha256: str

    def summary(self) -> str:
        what = "the bake" if self.piece is None else f"piece {self.piece}"
        return (
            f"Run {self.run} of {self.trial}: photo {self.number} of {what}, "
            f"{self.width} × {self.height} pixels, without anything that the camera wrote beside it."
        )

    def to_json(self) -> dict[str, Any]:
        return asdict(self)


def keep_photo_file(
    store: Store, trial: str, run: str, path: Path, *, piece: int | None = None, words: str = "", person: int = 1
) -> KeptPhoto:
    """Keep the photo in a file. Raises NotFound for a file that cannot be read, and what ``keep_photo`` raises."""
    try:
        with path.open("rb") as file:
            picture = read_picture(file.read(LARGEST_BYTES + 1))
    except OSError as error:
        why = error.strerror or "it cannot be read"
        raise NotFound(f"{path.name}: {why}.", where=str(path), try_this="look at its name again") from None
    number = keep_photo(store, trial, run, picture, piece=piece, words=words, person=person)
    with store.read() as session:
        its_run = find_run(runs_of(session, find_trial(session, trial)), run, trial=trial).code
    return KeptPhoto(
        trial=trial,
        run=its_run,
        number=number,
        piece=piece,
        width=picture.width,
        height=picture.height,
        sha256=picture.sha256,
    )


def keep_photo(
    store: Store,
    trial: str,
    run: str,
    picture: Picture | bytes,
    *,
    piece: int | None = None,
    words: str = "",
    person: int,
) -> int:
    """Keep a photo beside a run; returns its number. ``picture``: read already, or the bytes of a file.

    Raises InputError (no picture, an impossible piece), NotFound, Conflict (the trial is closed).
    """
    if isinstance(picture, bytes):
        picture = read_picture(picture)
    words = words.strip()
    if len(words) > MOST_SIGNS:
        raise InputError(
            f"The words have at most {MOST_SIGNS} characters.", where="photo", try_this="make them shorter"
        )
    if piece is not None and not 1 <= piece <= MOST_PIECES:
        raise InputError("Pieces count from 1.", where="photo", try_this="1")
    with store.write(person=person, action="photo") as deed:
        found = find_trial(deed.session, trial)
        refuse_closed(deed.session, found)
        its_run = find_run(runs_of(deed.session, found), run, trial=found.name)
        bake = bake_of(deed.session, its_run) or deed.add(Bake(run_id=its_run.id, made_at=deed.at))
        row = deed.add(
            Photo(
                bake_id=key(bake),
                piece_id=piece_id(deed, bake, piece),
                width=picture.width,
                height=picture.height,
                sha256=picture.sha256,
                words=words,
                person_id=person,
                at=deed.at,
            )
        )
        deed.add(PhotoContent(photo_id=key(row), content=picture.content))
    return key(row)


def photo(store: Store, number: int, *, small: bool = False) -> bytes:
    """The JPEG of a photo that stands. Raises NotFound, for one that was taken back or erased too."""
    number = min(number, LARGEST_NUMBER)
    with store.read() as session:
        gone = session.exec(select(Photo.id).where(Photo.replaces_id == number)).first()
        content = session.exec(select(PhotoContent.content).where(PhotoContent.photo_id == number)).first()
        erased = erasures_of(session, [number]).get(number)
    if erased is not None:
        raise NotFound(f"This photo was {erased.words()}.", where="photo", try_this="open the run again")
    if content is None or gone is not None:
        raise NotFound("There is no such photo, or it was taken back.", where="photo", try_this="open the run again")
    return small_picture(content) if small else content


def photo_views(
    rows: Sequence[Photo], pieces: Mapping[int | None, int], erased: Mapping[int, Erased]
) -> tuple[PhotoView, ...]:
    """By piece and then as they were taken, the whole bake first; those that were taken back come last."""
    stands = {key(row) for row in standing(rows)}
    views = [
        PhotoView(
            number=key(row),
            piece=pieces.get(row.piece_id) if row.piece_id else None,
            words=row.words,
            at=row.at,
            width=row.width,
            height=row.height,
            erased=erased.get(key(row)),
            taken_back=key(row) not in stands,
        )
        for row in rows
        if not row.void
    ]
    return tuple(sorted(views, key=lambda view: (view.taken_back, view.piece or 0, view.number)))


def check_photos(hashes: Mapping[int, str], contents: Mapping[int, bytes], *, where: str) -> None:
    """Are these the pictures that their entries speak of? Number of the photo -> hash, content.

    For photos that come from another kitchen. Raises IntegrityError.
    """
    for number, content in contents.items():
        try:
            fine = hashes.get(number) == sha256_of(content) and picture_head(content).kind == "JPEG"
        except InputError:
            fine = False
        if not fine:
            raise IntegrityError(
                f"Photo {number} is not the picture that its entry speaks of. Nothing was taken in.",
                where=where,
                try_this="make the bundle again where the trial was baked",
            )
