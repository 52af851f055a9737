"""How do many small deeds share one commit?

A commit waits for the disk. While one is waiting, the deeds that arrive queue up; the next
transaction does all of them, each within a savepoint of its own, and answers for none before
all are on the disk. A deed that fails is taken back alone. Each deed still writes its own
audit entries, one after the other, so the chain is what single commits would have made.
"""

from __future__ import annotations

import asyncio
import threading
from asyncio import AbstractEventLoop
from collections import defaultdict
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager, suppress
from queue import SimpleQueue
from typing import Any, TypeVar

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from tracker.deeds import Chain, Deed, ReadingSession, WritingSession
from tracker.errors import NotFound
from tracker.migrations import require_known, version_of
from tracker.models import Person
from tracker.prepared import plainly
from tracker.refusals import in_words, refusal
from tracker.store import Store
from tracker.workflow.lookup import FOUND

T = TypeVar("T")
MOST_AT_ONCE = 100
MOST_FOUND = 10_000
TAKE_BACK = "ROLLBACK TO SAVEPOINT deed"
_JOINED: dict[str, Any] = {"expire_on_commit": False, "join_transaction_mode": "rollback_only"}


Answer = Future[Any] | asyncio.Future[Any]
Asked = tuple[Callable[[Store], Any], Answer]
Told = tuple[Answer, Any, BaseException | None]  # what became of a deed: its result, or why it failed


class _Together(Store):
    """A store whose writes are savepoints of a transaction that is open already.

    What one deed looked up of the chain and of people holds for the next. ``found`` keeps rows of trials, which
    never change, from group to group (see ``lookup``).
    """

    def __init__(self, store: Store, connection: Connection, found: dict[Any, Any]) -> None:
        self.place, self.now, self.engine = store.place, store.now, store.engine
        self.joined: Connection = connection
        self._found = found
        self.wrote = False  # since the last deed
        self._chain: Chain | None = None
        self._people: set[int | None] = {None}

    @contextmanager
    def ask(self) -> Iterator[Connection]:
        """Sees what the deeds before it wrote, as ``read`` does."""
        with in_words(self.place.shown):
            yield self.joined

    @contextmanager
    def read(self) -> Iterator[Session]:
        """Sees what the deeds before it wrote: they stand, or all of the group falls."""
        with in_words(self.place.shown), ReadingSession(self.joined, **_JOINED) as session:
            yield session

    @contextmanager
    def write(self, *, person: int | None, action: str, reason: str = "") -> Iterator[Deed]:
        connection = self.joined
        inner = connection.begin_nested() if self.wrote else self._all_of_the_deed()
        self.wrote = True
        with in_words(self.place.shown), inner, WritingSession(connection, **_JOINED) as session:
            self._require(session, None if person is None else int(person))
            session.info[FOUND] = self._found
            told: dict[str, Any] = {"person": person, "action": action, "reason": reason, "at": self.stamp()}
            deed = Deed(session, connection, **told, chain=self._chain, shared=True)
            yield deed
            deed.finish()
        self._chain = deed.chain  # of a deed that failed it is as before

    @contextmanager
    def _all_of_the_deed(self) -> Iterator[None]:
        """The first write of a deed is all of it so far: it needs no savepoint beside the deed's own."""
        try:
            yield
        except BaseException:
            if _is_open(self.joined):
                plainly(self.joined, TAKE_BACK)
            raise

    def _require(self, session: Session, person: int | None) -> None:
        if person in self._people:
            return
        if session.get(Person, person) is None:
            raise NotFound(
                f"There is no person {person} in this kitchen.", where=self.place.shown, try_this="sign in again"
            )
        self._people.add(person)

    def forget(self) -> None:
        """Something was taken back: what was looked up may have been a part of it."""
        self._chain = None
        self._people = {None}
        self._found.clear()

    def close(self) -> None:
        """The transaction is somebody else's."""


def _is_open(connection: Connection) -> bool:
    """False when the whole transaction is gone, as on a full disk of SQLite, or when the server of PostgreSQL has gone.

    Nobody in it may be answered for.
    """
    if connection.invalidated:
        return False
    driver = connection.connection.dbapi_connection
    return bool(getattr(driver, "in_transaction", True)) and not getattr(driver, "closed", False)


def _first_reason(error: BaseException, shown: str) -> BaseException:
    """Why it was taken back: what came after speaks only of the savepoint that was missing then."""
    reason, earlier = error, error.__context__
    while earlier is not None:
        if isinstance(earlier, DBAPIError):
            reason = refusal(earlier.orig or earlier, shown)
        earlier = earlier.__context__
    return reason


class GroupWriter:
    """One thread that writes; ``do`` waits until the deed is on the disk."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._waiting: SimpleQueue[Asked | None] = SimpleQueue()
        self._thread: threading.Thread | None = None
        self._taking = False
        self._lock = threading.Lock()
        self._found: dict[Any, Any] = {}

    def start(self) -> None:
        """Once started it stays the one that writes: of two threads, one could take the other's end for its own."""
        if self._thread is not None:
            return
        self._thread = threading.Thread(target=self._run, name="writer", daemon=True)
        self._thread.start()
        self._taking = True

    def stop(self) -> None:
        """What waits is still done."""
        if self._thread is None:
            return
        with self._lock:  # nothing may come in behind the end
            self._taking = False
            self._waiting.put(None)
        self._thread.join()
        self._thread = None

    def do(self, deed: Callable[[Store], T]) -> T:
        return self.send(deed).result()

    def send(self, deed: Callable[[Store], T]) -> Future[T]:
        """Answered when the deed is on the disk; whoever waits must not cancel it."""
        answer: Future[T] = Future()
        self._send(deed, answer)
        return answer

    def send_soon(self, deed: Callable[[Store], T], loop: AbstractEventLoop) -> asyncio.Future[T]:
        """The same for who waits in an event loop, which is woken once for all whose deeds share a commit."""
        answer: asyncio.Future[T] = loop.create_future()
        self._send(deed, answer)
        return answer

    def _send(self, deed: Callable[[Store], Any], answer: Answer) -> None:
        with self._lock:
            if self._taking:
                self._waiting.put((deed, answer))
                return
        try:  # nobody shares a commit before the start and after the end
            answer.set_result(deed(self.store))
        except Exception as error:
            answer.set_exception(error)

    def _run(self) -> None:
        while True:
            first = self._waiting.get()
            if first is None:
                return
            group = [first]
            ends = False
            while len(group) < MOST_AT_ONCE and not self._waiting.empty():
                further = self._waiting.get()
                if further is None:
                    ends = True
                    break
                group.append(further)
            self._write(group)
            if ends:
                return

    def _write(self, group: list[Asked]) -> None:
        told: list[Told] = []
        try:
            with self.store.turn() as connection:
                self._do_all(connection, group, told)
        except BaseException as error:  # the commit failed: nobody may believe that it stands
            self._found.clear()
            refused = {answer: why for answer, _, why in told if why is not None}
            told = [(answer, None, refused.get(answer, error)) for _, answer in group]
        _tell(told)

    def _do_all(self, connection: Connection, group: list[Asked], told: list[Told]) -> None:
        require_known(version_of(connection), self.store.place.shown)
        if len(self._found) > MOST_FOUND:
            self._found.clear()
        together = _Together(self.store, connection, self._found)
        for deed, answer in group:
            # A deed of several writes stands or falls as a whole, with its key.
            plainly(connection, "SAVEPOINT deed")
            together.wrote = False
            try:
                told.append((answer, deed(together), None))
            except Exception as error:  # it is taken back; the others go on
                if not _is_open(connection):
                    raise _first_reason(error, self.store.place.shown) from error
                plainly(connection, TAKE_BACK)
                if together.wrote:
                    together.forget()
                told.append((answer, None, error))
            plainly(connection, "RELEASE SAVEPOINT deed")


def _tell(told: list[Told]) -> None:
    """Answer everybody; those who wait in an event loop are told in it, all at once."""
    in_loops: dict[AbstractEventLoop, list[Told]] = defaultdict(list)
    for each in told:
        answer = each[0]
        if isinstance(answer, asyncio.Future):
            in_loops[answer.get_loop()].append(each)
        else:
            _answer([each])
    for loop, waiting in in_loops.items():
        with suppress(RuntimeError):  # it was closed: nobody waits any more
            loop.call_soon_threadsafe(_answer, waiting)


def _answer(told: list[Told]) -> None:
    for answer, result, why in told:
        if answer.done():  # whoever waited has gone
            continue
        if why is None:
            answer.set_result(result)
        elif isinstance(why, StopIteration):  # no future of an event loop takes it, and whoever comes after would wait
            answer.set_exception(RuntimeError(f"A deed raised {why!r}."))
        else:
            answer.set_exception(why)
