"""What went wrong in an analysis, where, and what to do next.

Every error carries three sentences: ``what``, ``where`` and ``try_this``. The
shells turn them into an exit code and a line that begins with "Try:".
"""

from __future__ import annotations


class AnalysisError(Exception):
    """An analysis could not be done; the message says why."""

    exit_code = 7

    def __init__(self, what: str, *, where: str = "", try_this: str) -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.try_this = try_this


class TrialDataError(AnalysisError):
    """The numbers handed in are wrong: unknown column, text in a number, nothing to read."""

    exit_code = 3


class PlanError(AnalysisError):
    """The plan contradicts itself or cannot be laid out as a design."""

    exit_code = 3


class NotPossible(AnalysisError):
    """The data are fine, but they cannot answer this question."""
