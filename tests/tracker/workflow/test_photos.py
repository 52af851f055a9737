"""Do photos belong to the record as everything else does: kept, taken back, verified, backed up, carried away?"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from pathlib import Path

import pytest
from PIL import Image
from sqlalchemy import text

from tracker.databases import for_writing
from tracker.errors import Conflict, InputError, IntegrityError, NotFound
from tracker.fingerprints import content_hash
from tracker.models import AuditEntry, Photo, PhotoContent, Piece
from tracker.store import Store, open_kitchen
from tracker.workflow.bundling import bundle_trial
from tracker.workflow.history import history
from tracker.workflow.keeping import back_up, restore
from tracker.workflow.photos import keep_photo, photo
from tracker.workflow.recording import record_run
from tracker.workflow.run_entries import undo_entry
from tracker.workflow.run_view import run_view
from tracker.workflow.trials import close_trial
from tracker.workflow.unpacking import unpack_trial
from tracker.workflow.verifying import verify_record


def snap(colour: str = "tan", side: int = 40) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (side, side // 2), colour).save(out, "PNG")
    return out.getvalue()


def rows(store: Store, table: type) -> list:
    from sqlmodel import select

    with store.read() as session:
        return list(session.exec(select(table)))


def run_raw(store: Store, statement: str, **values: object) -> None:
    with for_writing(store.engine.connect()) as connection, connection.begin():
        connection.execute(text(statement), values)


def test_a_photo_is_kept_beside_its_piece(soda_anywhere: Store) -> None:
    store = soda_anywhere
    number = keep_photo(store, "soda", "108", snap(), piece=2, words=" a hole ", person=1)
    (view,) = run_view(store, "soda", "108").photos
    assert (view.number, view.piece, view.words, view.width, view.height) == (number, 2, "a hole", 40, 20)
    assert [piece.number for piece in rows(store, Piece)] == [2]
    kept = photo(store, number)
    assert hashlib.sha256(kept).hexdigest() == rows(store, Photo)[0].sha256
    assert Image.open(io.BytesIO(kept)).size == (40, 20)
    assert Image.open(io.BytesIO(photo(store, number, small=True))).format == "JPEG"
    (entry,) = run_view(store, "soda", "108").entries
    assert (entry.words, entry.can_undo) == ("photo, piece 2: a hole", True)
    verify_record(store)


def test_the_chain_holds_the_hash_of_a_photo_and_not_the_photo(soda: Store) -> None:
    keep_photo(soda, "soda", "108", snap(), person=1)
    content = rows(soda, PhotoContent)[0].content
    (entry,) = [each for each in rows(soda, AuditEntry) if each.table_name == "photo_content"]
    assert json.loads(entry.new)["content"] == f"sha256:{hashlib.sha256(content).hexdigest()}"
    assert len(entry.new) < 200


def test_taking_a_photo_back_is_an_entry(soda: Store) -> None:
    number = keep_photo(soda, "soda", "108", snap(), words="blurred", person=1)
    with_it = content_hash(soda, "soda")
    undo_entry(soda, "soda", "108", "photo", number, person=1)
    view = run_view(soda, "soda", "108")
    assert view.photos == ()
    assert [(entry.words, entry.can_undo) for entry in view.entries] == [
        ("photo: taken back", False),
        ("photo: blurred", False),
    ]
    assert len(rows(soda, Photo)) == 2
    assert len(rows(soda, PhotoContent)) == 1
    for small in (False, True):
        with pytest.raises(NotFound):
            photo(soda, number, small=small)
    with pytest.raises(Conflict):
        undo_entry(soda, "soda", "108", "photo", number, person=1)
    assert content_hash(soda, "soda") != with_it
    verify_record(soda)
    assert any("photo" in line.words() and "blurred" in line.words() for line in history(soda, trial="soda"))


def test_what_cannot_be_kept_leaves_nothing(soda: Store) -> None:
    for wrong in (b"no picture", snap()[:60]):
        with pytest.raises(InputError):
            keep_photo(soda, "soda", "108", wrong, person=1)
    for words, piece in (("", 0), ("", -1), ("", 10**9), ("a" * 401, 1)):
        with pytest.raises(InputError):
            keep_photo(soda, "soda", "108", snap(), piece=piece, words=words, person=1)
    with pytest.raises(NotFound):
        keep_photo(soda, "soda", "999", snap(), person=1)
    with pytest.raises(NotFound):
        photo(soda, 1)
    record_run(soda, "soda", "107", ["rise height=40"])
    close_trial(soda, "soda", reason="over")
    with pytest.raises(Conflict):
        keep_photo(soda, "soda", "108", snap(), person=1)
    assert rows(soda, Photo) == rows(soda, PhotoContent) == []


def test_a_trial_without_photos_has_the_content_it_had(soda: Store) -> None:
    """The hash that reports made before there were photos stand on."""
    before = content_hash(soda, "soda")
    number = keep_photo(soda, "soda", "108", snap(), person=1)
    assert content_hash(soda, "soda") != before
    undo_entry(soda, "soda", "108", "photo", number, person=1)
    assert content_hash(soda, "soda") == before


def test_a_photo_changed_behind_the_programs_back_is_named(soda: Store) -> None:
    keep_photo(soda, "soda", "108", snap(), person=1)
    run_raw(soda, "DROP TRIGGER photo_content_no_update")
    run_raw(soda, "UPDATE photo_content SET content = :other", other=b"\xff\xd8\xff\xd9")
    with pytest.raises(IntegrityError, match="photo_content"):
        verify_record(soda)


def test_photos_come_back_from_a_backup(soda: Store, tmp_path: Path) -> None:
    numbers = [keep_photo(soda, "soda", "108", snap(colour), person=1) for colour in ("tan", "white", "black")]
    undo_entry(soda, "soda", "108", "photo", numbers[1], person=1)
    backup = back_up(soda, tmp_path / "copy.db")
    assert (backup.rows["photo"], backup.rows["photo_content"]) == (4, 3)
    restore(backup.path, tmp_path / "again.db")
    with open_kitchen(str(tmp_path / "again.db")) as again:
        assert [photo(again, number) for number in (numbers[0], numbers[2])] == [
            photo(soda, number) for number in (numbers[0], numbers[2])
        ]
        verify_record(again, expect=backup.head)


@pytest.fixture
def bundle(soda: Store, tmp_path: Path) -> Path:
    record_run(soda, "soda", "108", ["rise height=40"])
    keep_photo(soda, "soda", "108", snap(), piece=1, words="cut side", person=1)
    number = keep_photo(soda, "soda", "108", snap("black"), person=1)
    undo_entry(soda, "soda", "108", "photo", number, person=1)
    return bundle_trial(soda, "soda", tmp_path / "soda.zip")


@pytest.fixture
def other(tmp_path: Path):
    with open_kitchen(str(tmp_path / "other.db"), create=True) as store:
        yield store


def changed(bundle: Path, change) -> Path:
    """The bundle with another record, whose hash is set right."""
    with zipfile.ZipFile(bundle) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    record = json.loads(files["record.json"])
    change(record)
    files["record.json"] = json.dumps(record).encode()
    about = json.loads(files["datapackage.json"])
    about["crumbwise"]["files"]["record.json"] = hashlib.sha256(files["record.json"]).hexdigest()
    files["datapackage.json"] = json.dumps(about).encode()
    with zipfile.ZipFile(bundle, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return bundle


def test_photos_travel_with_their_trial(soda: Store, bundle: Path, other: Store) -> None:
    unpack_trial(other, bundle)
    (there,) = run_view(other, "soda", "108").photos
    (here,) = run_view(soda, "soda", "108").photos
    assert (there.piece, there.words) == (1, "cut side")
    assert photo(other, there.number) == photo(soda, here.number)
    assert content_hash(other, "soda") == content_hash(soda, "soda")
    verify_record(other)


@pytest.mark.parametrize("content", [b"<script>alert(1)</script>", snap(), b""])
def test_a_bundle_with_another_picture_is_refused(bundle: Path, other: Store, content: bytes) -> None:
    import base64

    def exchange(record: dict) -> None:
        record["photo_content"][0]["content"] = base64.b64encode(content).decode()
        record["photo"][0]["sha256"] = hashlib.sha256(content).hexdigest()  # its hash fits; it is no JPEG

    with pytest.raises(IntegrityError, match="not the picture"):
        unpack_trial(other, changed(bundle, exchange))
    assert rows(other, Photo) == []


def test_a_bundle_from_before_there_were_photos_comes_in(soda: Store, other: Store, tmp_path: Path) -> None:
    record_run(soda, "soda", "108", ["rise height=40"])
    bundle = bundle_trial(soda, "soda", tmp_path / "plain.zip")
    with zipfile.ZipFile(bundle) as archive:
        assert not {"photo", "photo_content"} & json.loads(archive.read("record.json")).keys()
    assert unpack_trial(other, bundle).content_sha256 == content_hash(soda, "soda")
