"""Which batches belong to a day, by the clock of the kitchen and not of the database?"""

from __future__ import annotations

from datetime import date

import pytest

from tracker.errors import UsageError
from tracker.workflow.batch_periods import Period, baked_on, period_of
from tracker.workflow.batches import BatchLine


def line(at):
    return BatchLine(number="1", baked_at=at, line="", oven="", shift="", lots={}, values={})


def asked(lines=(), zone="UTC", **wish):
    return period_of(lines, zone, **{"day": None, "week": None, "month": None} | wish)


@pytest.mark.parametrize(
    ("zone", "day"),
    [
        ("UTC", date(2026, 3, 28)),
        ("Europe/Berlin", date(2026, 3, 29)),  # half past midnight, an hour before the clocks go forward
        ("Pacific/Apia", date(2026, 3, 29)),
        ("America/St_Johns", date(2026, 3, 28)),
        ("Asia/Kathmandu", date(2026, 3, 29)),
    ],
)
def test_a_batch_of_the_night_belongs_to_the_day_of_the_kitchen(zone, day):
    assert baked_on(line("2026-03-28T23:30:00Z"), zone) == day


def test_a_week_begins_on_monday_and_a_month_on_its_first():
    # ISO 8601: the first of January 2027 is a Friday.
    assert asked(week="2027-01-01") == Period(kind="week", first=date(2026, 12, 28), last=date(2027, 1, 3))
    assert asked(month="2028-02") == Period(kind="month", first=date(2028, 2, 1), last=date(2028, 2, 29))
    assert asked(month="2026-04-17") == Period(kind="month", first=date(2026, 4, 1), last=date(2026, 4, 30))
    assert asked(day="2026-04-17") == Period(kind="day", first=date(2026, 4, 17), last=date(2026, 4, 17))


def test_last_is_the_day_of_the_latest_batch_and_no_wish_is_everything():
    lines = [line("2026-03-02T06:00:00Z"), line("2026-04-30T06:00:00Z"), line("2026-04-01T06:00:00Z")]
    assert asked(lines, day="last") == Period(kind="day", first=date(2026, 4, 30), last=date(2026, 4, 30))
    assert asked(lines) == Period(kind="log", first=date(2026, 3, 2), last=date(2026, 4, 30))
    assert asked() is None


@pytest.mark.parametrize("wish", [{"day": "30.4.2026"}, {"week": "17"}, {"month": "2026-13"}, {"day": "last"}])
def test_what_is_no_date_is_said(wish):
    with pytest.raises(UsageError) as problem:
        asked(**wish)
    assert next(iter(wish.values())) in str(problem.value)


def test_two_wishes_are_one_too_many():
    with pytest.raises(UsageError, match="of a day or of a month"):
        asked(day="2026-04-30", month="2026-04")


def test_a_period_is_typed_again_as_it_was():
    for wish in ({"day": "2026-04-30"}, {"week": "2026-04-27"}, {"month": "2026-04"}):
        period = asked(**wish)
        assert period.said() == [f"--{next(iter(wish))}", next(iter(wish.values()))]
