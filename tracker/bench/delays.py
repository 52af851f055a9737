"""How long does a guess have to wait?

After a few wrong PINs for one account, or from one address, the next try waits, twice as
long each time. What is counted outlasts the bench: whoever can make it start anew wins no
guess by it.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from tracker.workflow.guesses import Counts, Guess, guesses_at, recount
from tracker.workflow.kitchens import Store

FREE = {"account": 5, "address": 20}  # a tablet is shared by many, each with a slip now and then
FIRST, LONGEST = timedelta(seconds=30), timedelta(hours=1)


class Delays:
    """Wrong tries by what was tried."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def take(self, account: str, address: str) -> int:
        """Take a try, or say how long until one is taken (seconds).

        It counts as wrong from now on, unless ``right`` takes that back: of many that are sent at one moment none is
        looked at before the others are counted.
        """
        keys, now = _keys(account, address), self._store.now()
        wait = _longest(guesses_at(self._store, keys), now)
        if wait:  # whoever has to wait keeps nobody from writing
            return wait

        def decide(counts: Counts) -> dict[str, Guess | None]:
            nonlocal wait
            wait = _longest(counts, now)
            if wait:
                return {}
            return {what: Guess(wrong=_wrong(counts, what) + 1, last=now) for what in keys}

        recount(self._store, keys, decide)
        return wait

    def right(self, account: str, address: str) -> None:
        """Whoever proved who they are starts anew; of their address only this try is taken back, or one known PIN
        would free all guesses."""
        mine, its = _keys(account, address)

        def decide(counts: Counts) -> dict[str, Guess | None]:
            before = counts.get(its)
            less = Guess(wrong=before.wrong - 1, last=before.last) if before and before.wrong > 1 else None
            return {mine: None, its: less}

        recount(self._store, (mine, its), decide)


def _keys(account: str, address: str) -> tuple[str, str]:
    return f"account {account.casefold()}", f"address {address}"


def _wrong(counts: Counts, what: str) -> int:
    return counts[what].wrong if what in counts else 0


def _longest(counts: Counts, now: datetime) -> int:
    """Seconds until each of them is over."""
    return max((_until(what, guess, now) for what, guess in counts.items()), default=0)


def _until(what: str, guess: Guess, now: datetime) -> int:
    over = guess.wrong - FREE[what.partition(" ")[0]]
    if over < 0:
        return 0
    wait = min(FIRST * 2 ** min(over, 20), LONGEST)
    left = (guess.last + wait - now).total_seconds()
    return int(left) + 1 if left > 0 else 0
