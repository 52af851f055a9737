"""Does the failure of one report stop no other, whatever the failure is?"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tracker.errors import UsageError
from tracker.workflow import report_many as many
from tracker.workflow.report_many import Wish, report_many
from tracker.workflow.reporting import Beside, Look


class EndsTheProcess:
    """Travels to a process and ends it there, as a lack of memory would."""

    def __reduce__(self):
        return os._exit, (9,)


def test_a_process_that_is_killed_is_told_for_each_trial(soda_path: Path, tmp_path: Path) -> None:
    wish = Wish(responses=(EndsTheProcess(),))  # type: ignore[arg-type]  # never read: it ends the process before
    outcomes = report_many(str(soda_path), ["soda", "other"], tmp_path / "out", wish, jobs=2)
    assert [outcome.exit_code for outcome in outcomes] == [1, 1]
    assert all(outcome.failure and "--jobs 1" in outcome.failure.try_this for outcome in outcomes)
    assert not (tmp_path / "out").exists()


def test_what_was_not_foreseen_is_told_and_the_next_is_made(
    soda_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = many.report_trial

    def fails_once(store, trial, path, **more):
        if trial == "bad":
            raise ZeroDivisionError
        return real(store, trial, path, **more)

    monkeypatch.setattr(many, "report_trial", fails_once)
    steps: list[str] = []
    outcomes = report_many(str(soda_path), ["bad", "soda", "none"], tmp_path, Wish(), jobs=1, step=steps.append)
    assert [outcome.exit_code for outcome in outcomes] == [1, 0, 4]
    assert outcomes[0].failure is not None
    assert "ZeroDivisionError" in outcomes[0].failure.what
    assert steps == ["bad", "soda", "none"]
    assert (tmp_path / "soda.html").exists()


def test_files_of_names_that_look_alike_stay_apart(tmp_path: Path) -> None:
    wish = Wish(beside=Beside(pictures=Path("p"), tables=Path("t.xlsx")))
    work = many._jobs("k.db", ["Oat loaf", "oat-loaf", "oat loaf!", "Oat loaf"], tmp_path, wish, ".pdf")
    assert [job.path.name for job in work] == ["oat-loaf.pdf", "oat-loaf-2.pdf", "oat-loaf-3.pdf"]
    assert [job.wish.beside.pictures for job in work] == [
        Path("p/oat-loaf"),
        Path("p/oat-loaf-2"),
        Path("p/oat-loaf-3"),
    ]
    assert len({job.wish.beside.tables for job in work}) == 3


def test_a_reader_nobody_writes_for_is_refused_before_anything(soda_path: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="nobody"):
        report_many(str(soda_path), ["soda"], tmp_path / "out", Wish(look=Look(reader="nobody")))


def test_none_is_none(soda_path: Path, tmp_path: Path) -> None:
    assert report_many(str(soda_path), [], tmp_path, Wish()) == []
