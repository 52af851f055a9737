"""Who writes, when several tablets send at once?"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from tracker.workflow.kitchens import Store

T = TypeVar("T")


class Writer:
    """Deeds of pages go through here, one after the other."""

    def __init__(self, store: Store) -> None:
        self.store = store

    def start(self) -> None:
        """Nothing to start yet."""

    def stop(self) -> None:
        """Nothing to stop yet."""

    def do(self, deed: Callable[[Store], T]) -> T:
        return deed(self.store)
