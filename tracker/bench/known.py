"""Who stood at this tablet a moment ago, and does that still hold?

Who is signed in, with which role, and the last entry of the record are looked up anew after every commit to the
kitchen, by whichever program it was made, and after a minute. In between, page after page, the answer is the same.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from dataclasses import dataclass
from datetime import datetime
from threading import Lock

from tracker.workflow.accounts import AccountLine
from tracker.workflow.changes import Changes
from tracker.workflow.kitchens import Store

MOST = 500  # tablets


@dataclass(frozen=True, kw_only=True)
class Stands:
    """``record`` is the last entry of the record; all of it holds ``until`` then, if nothing is committed."""

    who: AccountLine
    record: str
    until: datetime


class Known:
    """What was looked up under one count of commits, by the hash of the secret that was shown."""

    def __init__(self, store: Store) -> None:
        self._store, self._changes = store, Changes(store)
        self._stands: OrderedDict[bytes, Stands] = OrderedDict()
        self._under: int | None = None
        self._lock = Lock()

    def look(self, secret: str) -> tuple[Stands | None, int | None]:
        """What holds of whoever shows this secret, and the count under which more may be kept."""
        count = self._changes.count()
        with self._lock:
            if count is None or count != self._under:
                self._stands.clear()
                self._under = count
            stands = self._stands.get(_hash(secret))
        return (stands if stands and self._store.now() < stands.until else None), count

    def keep(self, secret: str, stands: Stands, count: int | None) -> None:
        """Remember it; ``count`` is what was counted before it was looked up."""
        with self._lock:
            if count is None or count != self._under:  # something was committed meanwhile
                return
            self._stands[_hash(secret)] = stands
            while len(self._stands) > MOST:
                self._stands.popitem(last=False)

    def close(self) -> None:
        """Look everything up from now on."""
        self._changes.close()


def _hash(secret: str) -> bytes:
    return hashlib.sha256(secret.encode()).digest()
