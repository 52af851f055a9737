"""How does a batch that was baked today, or a season of them, come into the log?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sqlmodel import select

from tracker.deeds import Deed
from tracker.models import Product
from tracker.store import Store
from tracker.workflow.batch_writing import BatchEntry, check_entries, write_batches
from tracker.workflow.logged_responses import ResponseAsked, responses_of, settle_response

__all__ = ["BatchEntry", "log_batches"]


def log_batches(
    store: Store,
    product: str,
    entries: Sequence[BatchEntry],
    *,
    units: Mapping[str, str] | None = None,
    person: int = 1,
) -> int:
    """Write batches of a product in one transaction; returns how many. They are not judged.

    A product or a response that is not known yet is made, with its unit of ``units``. Raises
    Conflict when a batch number is taken, InputError for a value that is no number, NotFound for
    an unknown person.
    """
    check_entries(entries)
    with store.write(person=person, action="log batches") as deed:
        its = deed.session.exec(select(Product).where(Product.name == product)).first()
        its = its or deed.add(Product(name=product, made_at=deed.at))
        make_missing_responses(deed, its, entries, units or {}, person=person)
        write_batches(deed, its, entries, person=person)
    return len(entries)


def make_missing_responses(
    deed: Deed, product: Product, entries: Sequence[BatchEntry], units: Mapping[str, str], *, person: int
) -> None:
    """A row for each response the entries name and the product does not have."""
    known = {row.name for row in responses_of(deed.session, product)}
    for name in dict.fromkeys(name for entry in entries for name in entry.readings):
        if name not in known:
            counted = any(name in entry.sizes for entry in entries)
            asked = ResponseAsked(name=name, unit=units.get(name, ""), scale="share" if counted else "measured")
            settle_response(deed, product, asked, person=person)
