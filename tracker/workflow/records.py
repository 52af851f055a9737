"""Is the record sound, who changed it, and where is its copy?

One door to what ``crumbwise records`` does; each deed has its own module.
"""

from __future__ import annotations

from tracker.workflow.checking import Check, CheckReport, check_kitchen
from tracker.workflow.history import HistoryLine, history
from tracker.workflow.keeping import Backup, Restored, back_up, restore
from tracker.workflow.people import PersonLine, add_person, erase_person, list_people
from tracker.workflow.verifying import Verified, verify_record

__all__ = [
    "Backup",
    "Check",
    "CheckReport",
    "HistoryLine",
    "PersonLine",
    "Restored",
    "Verified",
    "add_person",
    "back_up",
    "check_kitchen",
    "erase_person",
    "history",
    "list_people",
    "restore",
    "verify_record",
]
