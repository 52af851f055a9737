"""Which errors can a deed end with? For shells that know the workflow only."""

from __future__ import annotations

from analysis.errors import AnalysisError
from tracker.errors import TrackerError

__all__ = ["AnalysisError", "TrackerError"]
