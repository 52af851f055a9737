"""Which batches are those of a day, a week or a month, as the bakery's own clock tells days?"""

from __future__ import annotations

import calendar
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from tracker.errors import UsageError
from tracker.workflow.batches import BatchLine

KINDS = ("day", "week", "month")
LAST = "last"  # the day of the last batch that was logged


@dataclass(frozen=True, kw_only=True)
class Period:
    """``kind`` is "day", "week", "month" or "log" (all there is); both ends belong to it."""

    kind: str
    first: date
    last: date

    def said(self) -> list[str]:
        """As it would be typed again."""
        if self.kind == "log":
            return []
        return [f"--{self.kind}", self.first.strftime("%Y-%m") if self.kind == "month" else self.first.isoformat()]


def baked_on(line: BatchLine, zone: str) -> date:
    """The day a batch was baked, by the kitchen's clock."""
    return baked_at(line, zone).date()


def baked_at(line: BatchLine, zone: str) -> datetime:
    return datetime.fromisoformat(line.baked_at.replace("Z", "+00:00")).astimezone(ZoneInfo(zone))


def period_of(
    lines: Sequence[BatchLine], zone: str, *, day: str | None, week: str | None, month: str | None
) -> Period | None:
    """The period that was asked for; without a wish all batches (None when there are none).

    Each is a date (of a month the month alone will do) or "last". Raises UsageError for two wishes or no date.
    """
    asked = [(kind, text) for kind, text in zip(KINDS, (day, week, month), strict=True) if text is not None]
    if len(asked) > 1:
        raise UsageError(
            f"A report is of a {asked[0][0]} or of a {asked[1][0]}.",
            where="--day, --week, --month",
            try_this=f"--{asked[0][0]} {asked[0][1]} alone",
        )
    days = [baked_on(line, zone) for line in lines]
    if not asked:
        return Period(kind="log", first=min(days), last=max(days)) if days else None
    kind, text = asked[0]
    return _around(kind, _date(kind, text, max(days, default=None)))


def _around(kind: str, day: date) -> Period:
    if kind == "day":
        return Period(kind=kind, first=day, last=day)
    if kind == "week":  # ISO 8601: from Monday on
        monday = day - timedelta(days=day.weekday())
        return Period(kind=kind, first=monday, last=monday + timedelta(days=6))
    length = calendar.monthrange(day.year, day.month)[1]
    return Period(kind=kind, first=day.replace(day=1), last=day.replace(day=length))


def _date(kind: str, text: str, latest: date | None) -> date:
    said = text.strip().lower()
    if said == LAST and latest is not None:
        return latest
    try:
        return date.fromisoformat(f"{said}-01" if kind == "month" and len(said) == len("2026-04") else said)
    except ValueError:
        example = "2026-04" if kind == "month" else "2026-04-30"
        raise UsageError(f'"{text}" is no date.', where=f"--{kind}", try_this=f"--{kind} {example}") from None
