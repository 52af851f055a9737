"""Which kitchen is meant, and is it open for the length of one deed?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from tracker.databases import for_reading, place_of
from tracker.errors import NotFound
from tracker.migrations import require_known, version_of
from tracker.refusals import in_words
from tracker.store import Store, open_kitchen

__all__ = ["Store", "opened", "opened_if_there", "place_of", "require_known_tables"]


@contextmanager
def opened(where: str, *, create: bool = False) -> Iterator[Store]:
    """The store of the kitchen at ``where`` (path or URL), closed afterwards."""
    store = open_kitchen(where, create=create)
    try:
        yield store
    finally:
        store.close()


@contextmanager
def opened_if_there(where: str) -> Iterator[Store | None]:
    """The same, or None where there is no kitchen yet: a preview needs none."""
    try:
        store = open_kitchen(where)
    except NotFound:
        store = None
    try:
        yield store
    finally:
        if store is not None:
            store.close()


def require_known_tables(store: Store) -> None:
    """Raise NewerTables when another program has brought an open kitchen to tables that this one does not know."""
    with in_words(store.place.shown), store.engine.connect() as connection:
        require_known(version_of(for_reading(connection)), store.place.shown)
