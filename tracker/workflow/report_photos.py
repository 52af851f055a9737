"""Which photos of a trial stand in its report?

At most eight, since a report travels by mail: bakes of different treatments first, of each the
newest. They are made small here and handed on as plain data. A picture that is no longer kept, or
can no longer be read, is counted and not shown.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, func, select

from tracker.current import CurrentTrial, current_trial
from tracker.intake.pictures import small_picture
from tracker.models import Kitchen, PersonDetails, Photo, PhotoContent, Run
from tracker.workflow.lookup import key

if TYPE_CHECKING:
    from reports.sections.photos import PhotosTold, PhotoTold
    from tracker.store import Store

MOST = 8  # of about 20 KB each; a report may have 1.5 MB
SMALL = 320  # pixels of the longer side, as ``small_picture`` makes it


def photos_of(store: Store, trial: str) -> PhotosTold | None:
    """What a report is told of photos; None where none stands."""
    from reports.sections.photos import PhotosTold

    with store.read() as session:
        current = current_trial(session, trial)
        standing = [(run, row) for run in current.runs for row in current.photos.get(key(run), ())]
        if not standing:
            return None
        kept = _kept(session, [key(row) for _, row in standing])
        chosen = _chosen([(run, row) for run, row in standing if row.id in kept])
        names = {each.person_id: each.name for each in session.exec(select(PersonDetails))}
        zone = ZoneInfo(session.exec(select(Kitchen.zone)).first() or "UTC")
        told = [_told(session, current, run, row, names, zone) for run, row in chosen]
    photos = tuple(each for each in told if each is not None)
    gone = len(standing) - len(kept) + len(told) - len(photos)
    return PhotosTold(photos=photos, further=len(kept) - len(told), gone=gone)


def _kept(session: Session, numbers: Sequence[int]) -> set[int]:
    """Those whose picture is still there."""
    if not numbers:
        return set()
    wanted = select(PhotoContent.photo_id).where(
        col(PhotoContent.photo_id).in_(numbers), func.length(PhotoContent.content) > 0
    )
    return set(session.exec(wanted))


def _chosen(photos: Sequence[tuple[Run, Photo]]) -> list[tuple[Run, Photo]]:
    """The newest of a bake of each treatment before a second one of any; shown in order of baking."""
    of_run: Counter[str] = Counter()
    of_treatment: Counter[str] = Counter()
    ranked = []
    for place, (run, row) in sorted(enumerate(photos), key=lambda each: (each[1][0].bake_order, -key(each[1][1]))):
        again = of_run[run.code]
        ranked.append((again, of_treatment[run.settings], place, run, row))
        of_run[run.code] += 1
        of_treatment[run.settings] += not again
    first = sorted(ranked, key=lambda each: each[:3])[:MOST]
    return [(run, row) for *_, run, row in sorted(first, key=lambda each: each[2])]


def _told(
    session: Session, current: CurrentTrial, run: Run, row: Photo, names: Mapping[int, str], zone: ZoneInfo
) -> PhotoTold | None:
    from reports.sections.photos import PhotoTold

    content = session.exec(select(PhotoContent.content).where(PhotoContent.photo_id == row.id)).one()
    try:
        jpeg = small_picture(content)
    except (OSError, SyntaxError, ValueError):  # what the library raises for bytes that are no picture
        return None
    shrunk = min(1.0, SMALL / max(row.width, row.height, 1))
    return PhotoTold(
        number=key(row),
        bake=run.code,
        settings=current.settings(run),
        piece=current.pieces.get(row.piece_id) if row.piece_id else None,
        words=row.words,
        who=names.get(row.person_id, ""),
        day=datetime.fromisoformat(row.at).astimezone(zone).date(),  # by the kitchen's own clock
        jpeg=jpeg,
        width=max(1, round(row.width * shrunk)),
        height=max(1, round(row.height * shrunk)),
    )
