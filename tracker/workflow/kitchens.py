"""Which kitchen is meant, and is it open for the length of one deed?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from tracker.store import Store, open_kitchen


@contextmanager
def opened(where: str, *, create: bool = False) -> Iterator[Store]:
    """The store of the kitchen at ``where`` (path or URL), closed afterwards."""
    store = open_kitchen(where, create=create)
    try:
        yield store
    finally:
        store.close()
