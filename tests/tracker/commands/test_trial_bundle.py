"""Can a trial be carried from one kitchen to another by two commands?"""

import json
import zipfile

import pytest


@pytest.fixture
def there(crumbwise, tmp_path, monkeypatch):
    """A kitchen with a trial laid out from a ready plan."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CRUMBWISE_KITCHEN", str(tmp_path / "there.db"))
    (tmp_path / "soda.toml").write_text(
        'title = "Soda"\nname = "soda"\n[[factor]]\nname = "soda"\nkind = "amount"\nvalues = [1, 2, 3]\n'
        '[[response]]\nname = "rise"\nunit = "mm"\nspread = 2\n'
        '[design]\nkind = "dose ladder"\nreplicates = 2\nseed = 3\n',
        encoding="utf-8",
    )
    assert crumbwise("trial", "plan", "soda.toml").code == 0
    return tmp_path


def test_a_trial_goes_from_one_kitchen_to_another(crumbwise, there):
    packed = crumbwise("trial", "bundle", "soda", "--json")
    assert packed.code == 0, packed.err
    assert json.loads(packed.out) == {"trial": "soda", "bundle": "soda.zip"}
    taken = crumbwise("--kitchen", "here.db", "trial", "unpack", "soda.zip", "--json")
    assert taken.code == 0, taken.err
    assert json.loads(taken.out)["rows"]["run"] == 6
    assert "6 runs" in crumbwise("--kitchen", "here.db", "trial", "list").out
    again = crumbwise("--kitchen", "here.db", "trial", "unpack", "soda.zip")
    assert again.code == 5
    assert "Try:" in again.err


def test_a_file_that_is_no_bundle_leaves_no_empty_kitchen(crumbwise, there):
    (there / "letter.zip").write_text("dear baker", encoding="utf-8")
    refused = crumbwise("--kitchen", "here.db", "trial", "unpack", "letter.zip")
    assert refused.code == 3
    assert "Try:" in refused.err
    assert not (there / "here.db").exists()


def test_a_bundle_is_read_once(crumbwise, there, monkeypatch):
    assert crumbwise("trial", "bundle", "soda").code == 0
    opened = []
    real = zipfile.ZipFile
    monkeypatch.setattr(zipfile, "ZipFile", lambda *given, **named: opened.append(given) or real(*given, **named))
    assert crumbwise("--kitchen", "here.db", "trial", "unpack", "soda.zip").code == 0
    assert len(opened) == 1


def test_a_folder_that_cannot_be_written_is_named(crumbwise, there):
    (there / "full").write_text("no folder", encoding="utf-8")
    refused = crumbwise("trial", "bundle", "soda", "--out", "full/soda.zip")
    assert refused.code == 3
    assert "cannot be written" in refused.err
