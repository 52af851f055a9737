"""Which errors are ours to say in words?"""

from __future__ import annotations

from tracker.errors import TrackerError
from tracker.workflow.failures import AnalysisError

OURS: tuple[type[Exception], ...] = (TrackerError, AnalysisError)
