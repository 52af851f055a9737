"""Which kitchen is meant, and is it open for the length of one deed?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from tracker.errors import NotFound
from tracker.store import Store, open_kitchen

__all__ = ["Store", "opened", "opened_if_there"]


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
