"""How long does a guess have to wait?

After a few wrong PINs for one account, or from one address, the next try waits, twice as
long each time. Kept in memory: starting the bench anew forgets it, which a guesser on the
network cannot do.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from threading import Lock

FREE = {"account": 5, "address": 20}  # a tablet is shared by many, each with a slip now and then
FIRST, LONGEST = timedelta(seconds=30), timedelta(hours=1)
REMEMBERED = timedelta(hours=24)
MOST = 10_000  # names that can be tried are endless, memory is not


class Delays:
    """Wrong tries by what was tried; ``now`` is the clock."""

    def __init__(self, now: Callable[[], datetime]) -> None:
        self._now = now
        self._wrong: dict[tuple[str, str], tuple[int, datetime]] = {}
        self._lock = Lock()

    def seconds_left(self, account: str, address: str) -> int:
        """How long until the next try is taken; 0 when it is taken now."""
        now = self._now()
        with self._lock:
            waits = [self._until(which, now) for which in self._keys(account, address)]
        return max(0, *waits)

    def take(self, account: str, address: str) -> int:
        """Take a try, or say how long until one is taken (seconds).

        It counts as wrong from now on, unless ``right`` takes that back: of many that are sent at one moment none is
        looked at before the others are counted.
        """
        now = self._now()
        with self._lock:
            wait = max(0, *(self._until(which, now) for which in self._keys(account, address)))
            if not wait:
                self._count(account, address, now)
            return wait

    def wrong(self, account: str, address: str) -> None:
        with self._lock:
            self._count(account, address, self._now())

    def right(self, account: str, address: str) -> None:
        """Whoever proved who they are starts anew; of their address only this try is taken back, or one known PIN
        would free all guesses."""
        mine, its = self._keys(account, address)
        with self._lock:
            self._wrong.pop(mine, None)
            count, last = self._wrong.get(its, (0, self._now()))
            if count > 1:
                self._wrong[its] = (count - 1, last)
            else:
                self._wrong.pop(its, None)

    def _count(self, account: str, address: str, now: datetime) -> None:
        self._forget(now)
        for which in self._keys(account, address):
            count, _ = self._wrong.pop(which, (0, now))  # put in again behind the others
            self._wrong[which] = (count + 1, now)

    def _until(self, which: tuple[str, str], now: datetime) -> int:
        count, last = self._wrong.get(which, (0, now))
        over = count - FREE[which[0]]
        if over < 0:
            return 0
        wait = min(FIRST * 2 ** min(over, 20), LONGEST)
        left = (last + wait - now).total_seconds()
        return int(left) + 1 if left > 0 else 0

    def _forget(self, now: datetime) -> None:
        """The oldest stand first."""
        while self._wrong:
            oldest = next(iter(self._wrong))
            if len(self._wrong) < MOST and now - self._wrong[oldest][1] < REMEMBERED:
                return
            del self._wrong[oldest]

    @staticmethod
    def _keys(account: str, address: str) -> tuple[tuple[str, str], tuple[str, str]]:
        return ("account", account.casefold()), ("address", address)
