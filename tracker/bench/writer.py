"""Who writes, when several tablets send at once?

One thread, and deeds that arrive together share a commit: threads that fight for the lock of
the database would make each other wait, or give up.
"""

from __future__ import annotations

from tracker.workflow.grouped import GroupWriter as Writer

__all__ = ["Writer"]
