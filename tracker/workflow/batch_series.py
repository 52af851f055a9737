"""What do charts and models get of a product: series of batches, phases, the specification?

The record's rows become the plain records of ``analysis.control``; nothing is computed here.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from sqlmodel import Session, col, select

from analysis.control.results import BatchSeries, CountSeries, Limits, Phase, Specification
from tracker.current import rows_of
from tracker.current_batches import CurrentBatch, current_batch, find_product
from tracker.errors import Conflict
from tracker.models import Batch, LoggedResponse, PersonDetails, PhaseEntry, PhaseLimits, Product
from tracker.models import Specification as SpecificationRow
from tracker.whole_log import LoggedBatch, read_log
from tracker.workflow.logged_responses import find_response, responses_of

if TYPE_CHECKING:
    from tracker.store import Store

Series = BatchSeries | CountSeries


def product_series(store: Store, product: str, response: str) -> tuple[Series, tuple[Phase, ...], Specification | None]:
    """A product's response over all standing batches, its frozen phases, and what it has to meet.

    Until limits are frozen or enough batches exist, what the trial promised stands for the first phase.
    Raises NotFound with the nearest name, Conflict when there is no reading of it yet.
    """
    with store.read() as session:
        its = find_product(session, product)
        found = find_response(responses_of(session, its), response, product=product)
        batches = read_log(session, its, found.name)
        series = series_of_log(batches, found)
        phases = phases_over(session, its, found, batches) or _promised(session, its, series)
        meets = specification_of(session, its, found)
    if not series.batches:
        raise Conflict(
            f'"{product}" has no reading of {found.name} yet.',
            where=f'product "{product}"',
            try_this=f'crumbwise batch log "{product}" NUMBER --reading "{found.name}=…"',
        )
    return series, phases, meets


def _promised(session: Session, product: Product, series: Series) -> tuple[Phase, ...]:
    """The limits that a trial promised for the first batches of a product, as a phase of its own."""
    from analysis.control.limits import FEW
    from tracker.workflow.judged import expected_limits

    if not series.batches or len(series.batches) >= FEW or not isinstance(series, BatchSeries):
        return ()
    found = expected_limits(session, product, series.response)
    return () if found is None else (Phase(number=1, from_batch=series.batches[0], limits=found[0]),)


def response_names(store: Store, product: str) -> tuple[str, ...]:
    """The responses of a product, as they came. Raises NotFound with the nearest name."""
    with store.read() as session:
        return tuple(row.name for row in responses_of(session, find_product(session, product)))


def series_of(batches: Sequence[CurrentBatch], response: LoggedResponse) -> Series:
    """The batches that have a reading of the response, in the order given."""
    read = [(batch, [each for each in batch.readings if each.response == response.name]) for batch in batches]
    return series_of_log(
        [
            LoggedBatch(
                batch.id,
                batch.number,
                batch.baked_at,
                tuple(each.value for each in readings),
                tuple(each.size for each in readings),
            )
            for batch, readings in read
        ],
        response,
    )


def series_of_log(batches: Sequence[LoggedBatch], response: LoggedResponse) -> Series:
    """The same of batches that hold the readings of this response only."""
    kept = [batch for batch in batches if batch.values]
    numbers = tuple(batch.number for batch in kept)
    at = tuple(batch.baked_at for batch in kept)
    if response.scale == "measured":
        values = tuple(batch.values for batch in kept)
        return BatchSeries(response=response.name, unit=response.unit, batches=numbers, values=values, at=at)
    return CountSeries(
        response=response.name,
        of="pieces" if response.scale == "share" else "places",
        batches=numbers,
        counts=tuple(sum(batch.values) for batch in kept),
        sizes=tuple(sum(size or 1.0 for size in batch.sizes) for batch in kept),
        at=at,
    )


def phases_of(session: Session, product: Product, response: str) -> list[tuple[Phase, PhaseEntry]]:
    """The phases of a response by number, each with its row; limits are those of its first chart, the level."""
    wanted = select(PhaseEntry).where(PhaseEntry.product_id == product.id, PhaseEntry.response == response)
    rows = list(session.exec(wanted.order_by(col(PhaseEntry.number))))
    if not rows:
        return []
    limits: dict[int, PhaseLimits] = {}
    for each in rows_of(session, PhaseLimits, PhaseLimits.phase_id, [row.id for row in rows]):
        limits.setdefault(each.phase_id, each)
    numbers = {row.from_batch_id for row in rows}
    numbers |= {number for each in limits.values() for number in (each.first_batch_id, each.last_batch_id)}
    batches = {batch.id: batch.number for batch in rows_of(session, Batch, Batch.id, sorted(numbers))}
    names = {row.person_id: row.name for row in session.exec(select(PersonDetails))}
    return [
        (
            Phase(
                number=row.number,
                from_batch=batches[row.from_batch_id],
                limits=_limits(row, limits[row.id or 0], batches, names.get(row.person_id, f"person {row.person_id}")),
            ),
            row,
        )
        for row in rows
    ]


def _limits(row: PhaseEntry, kept: PhaseLimits, batches: dict[int | None, str], author: str) -> Limits:
    return Limits(
        lower=kept.lower,
        centre=kept.centre,
        upper=kept.upper,
        sd=kept.sd,
        method=kept.method,
        batches=kept.batches,
        first_batch=batches[kept.first_batch_id],
        last_batch=batches[kept.last_batch_id],
        provisional=kept.provisional,
        frozen=True,
        author=author,
        frozen_at=row.at,
        reason=row.reason,
        numbers=json.loads(kept.numbers),
    )


def specification_of(session: Session, product: Product, response: LoggedResponse) -> Specification | None:
    """The latest version of what a response has to meet; None when nothing was said."""
    wanted = select(SpecificationRow).where(
        SpecificationRow.product_id == product.id, SpecificationRow.response == response.name
    )
    row = session.exec(wanted.order_by(col(SpecificationRow.version).desc()).limit(1)).first()
    if row is None:
        return None
    return Specification(response=row.response, unit=row.unit, lower=row.lower, upper=row.upper, target=row.target)


def place_of(session: Session, row: PhaseEntry) -> tuple[str, int]:
    """Where in the order of baking a phase begins."""
    batch = session.get(Batch, row.from_batch_id)
    assert batch is not None
    return current_batch(session, batch).place


def phases_over(
    session: Session, product: Product, response: LoggedResponse, batches: Sequence[LoggedBatch]
) -> tuple[Phase, ...]:
    """The phases as these batches (standing, in order, with their readings of this response) know them.

    A phase begins at its first batch that stands and was read for the response: the one it was
    frozen from may have been taken back since.
    """
    read = [batch for batch in batches if batch.values]
    found: dict[str, Phase] = {}
    for phase, row in phases_of(session, product, response.name):
        begins = place_of(session, row)
        first = next((batch.number for batch in read if batch.place >= begins), None)
        if first is not None:
            found[first] = replace(phase, from_batch=first)
    return tuple(found.values())
