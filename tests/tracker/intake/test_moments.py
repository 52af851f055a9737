"""Are days and times read as they were meant, or refused?"""

from __future__ import annotations

import pytest

from tracker.errors import InputError
from tracker.intake.moments import read_day, read_moment


@pytest.mark.parametrize(
    ("text", "zone", "stamp"),
    [
        ("2026-11-26 05:30", "UTC", "2026-11-26T05:30:00Z"),
        ("2026-11-26T05:30", "Europe/Berlin", "2026-11-26T04:30:00Z"),  # winter, one hour ahead
        ("2026-07-26 5:30", "Europe/Berlin", "2026-07-26T03:30:00Z"),  # summer, two
        ("2026-11-26T05:30:10Z", "Europe/Berlin", "2026-11-26T05:30:10Z"),
        ("2026-11-26 05:30+02:00", "UTC", "2026-11-26T03:30:00Z"),
        ("26.11.2026 5:30", "UTC", "2026-11-26T05:30:00Z"),
        ("26.11.2026", "UTC", "2026-11-26T12:00:00Z"),  # a day alone is its noon
        ("2026-11-26", "Pacific/Auckland", "2026-11-25T23:00:00Z"),
        ("2026-11-26 05:30", "Nowhere/Land", "2026-11-26T05:30:00Z"),
        ("2026-11-26 05:30:00.25", "UTC", "2026-11-26T05:30:00Z"),
    ],
)
def test_a_moment_is_read(text, zone, stamp):
    assert read_moment(text, zone=zone, where="--at") == stamp


@pytest.mark.parametrize(
    "text", ["", "yesterday", "11/12/2026", "2026-13-01", "2026-02-30 05:00", "25:00", "31.2.2026"]
)
def test_what_is_no_moment_is_refused(text):
    with pytest.raises(InputError) as told:
        read_moment(text, zone="UTC", where="--at")
    assert (told.value.where, told.value.try_this) == ("--at", 'write it as "2026-11-26 05:30" or "2026-11-26"')


def test_the_ends_of_time_are_refused_and_not_a_crash():
    with pytest.raises(InputError, match="no day or time"):
        read_moment("0001-01-01 00:00", zone="Europe/Berlin", where="--at")


def test_a_day_is_read_alone():
    assert read_day("3.11.2026", where="--opened") == read_day("2026-11-03 14:00", where="--opened") == "2026-11-03"
