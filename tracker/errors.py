"""What went wrong with the record or its ways in, where, and what to do next."""

from __future__ import annotations


class TrackerError(Exception):
    """Root of what the shells report. ``exit_code`` is documented in the README."""

    exit_code = 1

    def __init__(self, what: str, *, where: str = "", try_this: str) -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.try_this = try_this


class UsageError(TrackerError):
    """The command was written wrongly."""

    exit_code = 2


class InputError(TrackerError):
    """Data handed in are wrong; nothing was stored."""

    exit_code = 3


class NotFound(TrackerError):
    """Nothing of that name is in the kitchen."""

    exit_code = 4


class Conflict(TrackerError):
    """Something else stands there already, or the kitchen is locked."""

    exit_code = 5


class IntegrityError(TrackerError):
    """The record does not verify."""

    exit_code = 6


class NotNow(TrackerError):
    """Nothing is wrong with what was handed in; the record cannot take it at the moment. Try the same again."""


class Busy(NotNow, Conflict):
    """Another program keeps the kitchen to itself, or it cannot be written."""


class Full(NotNow):
    """There is no room left on the disk."""


class Unreachable(NotNow, NotFound):
    """The file or the server of the kitchen does not answer."""


class NewerTables(NotNow, Conflict):
    """A newer Crumbwise has changed the tables."""
