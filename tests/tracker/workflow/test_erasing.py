"""Does the picture go for good when a photo is erased, and does all stay that says it existed?"""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from PIL import Image
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from tracker.databases import for_writing
from tracker.errors import Conflict, InputError, NotFound
from tracker.fingerprints import content_hash
from tracker.models import AuditEntry, Photo, PhotoContent, PhotoErasure
from tracker.store import Store, open_kitchen
from tracker.workflow.bundling import bundle_trial
from tracker.workflow.checking import check_kitchen
from tracker.workflow.erasing import erase_photo
from tracker.workflow.history import history
from tracker.workflow.keeping import back_up, restore
from tracker.workflow.people import add_person, erase_person
from tracker.workflow.photos import keep_photo, photo
from tracker.workflow.report_photos import photos_of
from tracker.workflow.run_entries import undo_entry
from tracker.workflow.run_view import run_view
from tracker.workflow.trials import close_trial
from tracker.workflow.unpacking import unpack_trial
from tracker.workflow.verifying import verify_record


def snap(colour: str = "tan") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 20), colour).save(out, "PNG")
    return out.getvalue()


def rows(store: Store, table: type) -> list:
    from sqlmodel import select

    with store.read() as session:
        return list(session.exec(select(table)))


def run_raw(store: Store, statement: str) -> None:
    with for_writing(store.engine.connect()) as connection, connection.begin():
        connection.execute(text(statement))


def test_the_bytes_go_and_the_record_still_verifies(soda_anywhere: Store) -> None:
    store = soda_anywhere
    first = keep_photo(store, "soda", "108", snap(), words="a hole", person=1)
    other = keep_photo(store, "soda", "108", snap("black"), person=1)
    head, content = verify_record(store).head, content_hash(store, "soda")
    done = erase_photo(store, first, reason=" a face was in it ", person=1)
    assert (done.number, done.trial, done.run) == (first, "soda", "108")
    assert [row.photo_id for row in rows(store, PhotoContent)] == [other]
    with pytest.raises(NotFound, match=r"erased by person 1 on \d{4}-\d\d-\d\d: a face was in it"):
        photo(store, first)
    assert photo(store, other)
    assert content_hash(store, "soda") == content  # what was found stands on the same record
    assert rows(store, Photo)[0].sha256 == done.sha256
    (erasure,) = rows(store, PhotoErasure)
    assert (erasure.photo_id, erasure.reason, erasure.person_id) == (first, "a face was in it", 1)
    assert verify_record(store, expect=head).entries == len(rows(store, AuditEntry))
    assert check_kitchen(store, full=True).wrong == ()
    gone = [entry for entry in rows(store, AuditEntry) if entry.new is None]
    assert [(entry.table_name, entry.action, entry.reason) for entry in gone] == [
        ("photo_content", "erase photo", "a face was in it")
    ]
    assert json.loads(gone[0].old)["content"] == f"sha256:{done.sha256}"


def test_the_database_still_refuses_everything_else(soda_anywhere: Store) -> None:
    store = soda_anywhere
    first, other = (keep_photo(store, "soda", "108", snap(colour), person=1) for colour in ("tan", "black"))
    erase_photo(store, first, reason="a face", person=1)
    refused = [
        "DELETE FROM photo_content",
        f"DELETE FROM photo_content WHERE photo_id = {other}",
        "UPDATE photo_content SET content = content",
        f"UPDATE photo_content SET photo_id = {first}",  # or it could be removed as that one
        "DELETE FROM photo",
        f"UPDATE photo SET words = '' WHERE id = {first}",
        "DELETE FROM photo_erasure",
        f"UPDATE photo_erasure SET photo_id = {other}",
    ]
    if store.place.path is None:
        refused += ["TRUNCATE photo_content", "TRUNCATE photo_erasure"]
    else:
        refused += ["INSERT OR REPLACE INTO photo_content SELECT * FROM photo_content"]
    for statement in refused:
        with pytest.raises(DBAPIError, match=r"crumbwise: Rows of \w+ are never changed or removed"):
            run_raw(store, statement)
    assert [row.photo_id for row in rows(store, PhotoContent)] == [other]
    verify_record(store)


def test_bytes_that_go_without_an_entry_are_noticed(soda: Store) -> None:
    number = keep_photo(soda, "soda", "108", snap(), person=1)
    with soda.write(person=1, action="half of it") as deed:
        deed.add(PhotoErasure(photo_id=number, reason="x", person_id=1, at=deed.at))
    run_raw(soda, "DELETE FROM photo_content")
    with pytest.raises(Exception, match=r"row 1 of photo_content is gone"):
        verify_record(soda)


def test_what_was_in_the_file_is_overwritten(soda_path: Path) -> None:
    with open_kitchen(str(soda_path)) as store:
        number = keep_photo(store, "soda", "108", snap("red"), person=1)
        content = photo(store, number)
        middle = content[len(content) // 2 :][:60]
        store.close()
        assert middle in soda_path.read_bytes()
    with open_kitchen(str(soda_path)) as store:
        erase_photo(store, number, reason="a face", person=1)
    left = b"".join(path.read_bytes() for path in soda_path.parent.iterdir() if path.name.startswith(soda_path.name))
    assert middle not in left


def test_the_page_says_who_when_and_why(soda: Store) -> None:
    dora = add_person(soda, "Dora").number
    number = keep_photo(soda, "soda", "108", snap(), piece=2, words="a hole", person=1)
    erase_photo(soda, number, reason="a face", person=dora)
    (view,) = run_view(soda, "soda", "108").photos
    assert (view.number, view.piece, view.words) == (number, 2, "a hole")
    assert view.erased is not None
    assert (view.erased.who, view.erased.why) == ("Dora", "a face")
    erase_person(soda, dora, reason="asked for it")
    (view,) = run_view(soda, "soda", "108").photos
    assert view.erased is not None
    assert view.erased.who == f"person {dora}"
    told = [line.words() for line in history(soda, trial="soda", run="108")]
    assert any("erase photo" in line and "a face" in line for line in told)


def test_one_that_was_taken_back_can_be_erased_too_and_after_the_trial_was_closed(soda: Store) -> None:
    number = keep_photo(soda, "soda", "108", snap(), person=1)
    undo_entry(soda, "soda", "108", "photo", number, person=1)
    (kept,) = run_view(soda, "soda", "108").taken_back
    assert kept.number == number
    close_trial(soda, "soda", reason="enough", person=1)
    erase_photo(soda, number, reason="a face", person=1)
    view = run_view(soda, "soda", "108")
    assert view.photos == view.taken_back == ()
    assert rows(soda, PhotoContent) == []
    verify_record(soda)


def test_what_cannot_be_erased_is_said(soda: Store) -> None:
    number = keep_photo(soda, "soda", "108", snap(), person=1)
    undo_entry(soda, "soda", "108", "photo", number, person=1)
    for reason in ("", " ", "x" * 401):
        with pytest.raises(InputError, match="needs a reason"):
            erase_photo(soda, number, reason=reason, person=1)
    for missing in (0, -1, 99, number + 1, 10**30):  # the row that takes it back is no photo
        with pytest.raises(NotFound, match="no such photo"):
            erase_photo(soda, missing, reason="x", person=1)
    erase_photo(soda, number, reason="a face", person=1)
    with pytest.raises(Conflict, match="Photo 1 is erased by person 1"):
        erase_photo(soda, number, reason="again", person=1)
    assert len(rows(soda, PhotoErasure)) == 1


def test_a_report_made_after_it_counts_the_picture_as_no_longer_kept(soda: Store) -> None:
    first, other = (keep_photo(soda, "soda", "108", snap(colour), person=1) for colour in ("tan", "black"))
    erase_photo(soda, first, reason="a face", person=1)
    told = photos_of(soda, "soda")
    assert told is not None
    assert ([each.number for each in told.photos], told.gone) == ([other], 1)


def test_backups_and_bundles_made_after_it_hold_no_picture_and_say_so(soda: Store, tmp_path: Path) -> None:
    number = keep_photo(soda, "soda", "108", snap(), person=1)
    keep_photo(soda, "soda", "107", snap("black"), person=1)
    erase_photo(soda, number, reason="a face", person=1)
    back_up(soda, tmp_path / "copy.db")
    assert restore(tmp_path / "copy.db", tmp_path / "again.db").head == verify_record(soda).head
    bundle_trial(soda, "soda", tmp_path / "soda.zip")
    with open_kitchen(str(tmp_path / "other.db"), create=True) as other:
        unpack_trial(other, tmp_path / "soda.zip")
        (view,) = run_view(other, "soda", "108").photos
        assert view.erased is not None
        assert view.erased.why == "a face"
        with pytest.raises(NotFound, match="was erased by"):
            photo(other, view.number)
        assert len(rows(other, PhotoContent)) == 1
        assert content_hash(other, "soda") == content_hash(soda, "soda")
        verify_record(other)
