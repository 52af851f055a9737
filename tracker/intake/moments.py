"""When was it, as people type it?

"2026-11-26 05:30", "26.11.2026 5:30", with "T", "Z" or an offset as well. A time without an
offset is the kitchen's own; a day alone stands for its noon, so that no zone moves it to
another day. Days that could be read in two ways (11/12/2026) are refused.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from tracker.errors import InputError

_DOTTED = re.compile(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})(?:[ ,T]+(.*))?")
_HOUR = re.compile(r"([0-9]):(.*)")


def read_moment(text: str, *, zone: str, where: str) -> str:
    """RFC 3339 in UTC, to the second: "2026-11-26T05:30:00Z". Raises InputError."""
    moment = _moment(text.strip(), where)
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=_zone(zone))
    try:
        return stamp_of(moment)
    except OverflowError:
        raise _no_time(text, where) from None


def stamp_of(moment: datetime) -> str:
    """An aware moment as the log keeps it, to the second."""
    return moment.astimezone(UTC).isoformat()[: len("2026-11-26T05:30:00")] + "Z"


def read_day(text: str, *, where: str) -> str:
    """YYYY-MM-DD. Raises InputError."""
    return _moment(text.strip(), where).date().isoformat()


def _moment(typed: str, where: str) -> datetime:
    dotted = _DOTTED.fullmatch(typed)
    if dotted is not None:
        day, month, year, hours = dotted.groups()
        typed = f"{year}-{int(month):02}-{int(day):02}" + (f" {hours}" if hours else "")
    head, _, hours = typed.replace("T", " ").partition(" ")
    hours = _HOUR.sub(r"0\1:\2", hours.strip()) if _HOUR.fullmatch(hours.strip()) else hours.strip()
    try:
        if not hours:
            day_alone = date.fromisoformat(head)
            return datetime(day_alone.year, day_alone.month, day_alone.day, 12)
        return datetime.fromisoformat(f"{head}T{hours.replace(' ', '')}")
    except ValueError:
        raise _no_time(typed, where) from None


def _no_time(text: str, where: str) -> InputError:
    return InputError(
        f'"{text.strip()}" is no day or time.', where=where, try_this='write it as "2026-11-26 05:30" or "2026-11-26"'
    )


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return ZoneInfo("UTC")
