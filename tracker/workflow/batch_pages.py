"""What does the page of a product show before a batch is logged, and what is said of one that is in the log?

Nothing is written here: the form is filled from the last batches, and a batch is judged as it stands.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from analysis.errors import AnalysisError
from analysis.words.batch_log import say_specification
from tracker.current_batches import current_batch, current_batches, find_batch, find_product
from tracker.models import Product
from tracker.store import Store
from tracker.workflow.acceptance import said_by_rules
from tracker.workflow.batch_series import product_series, specification_of
from tracker.workflow.judged import judge_batch
from tracker.workflow.logged_responses import responses_of
from tracker.workflow.verdicts import BatchVerdict, verdicts_of

if TYPE_CHECKING:
    from sqlmodel import Session

    from reports.figures.picture import Figure
    from tracker.current_batches import CurrentBatch

LOOKED_BACK = 40  # batches whose ovens, shifts and lines are offered
OFFERED = 6  # of each
MOST_PIECES = 12
WINDOW = 40  # batches on the chart of one batch
_NUMBER = re.compile(r"(\d+)(\D*)$")


@dataclass(frozen=True, kw_only=True)
class ResponseBoxes:
    """A response to be read: ``pieces`` is how many were read last; ``agreed`` what it has to meet, in words."""

    name: str
    unit: str
    counted: bool
    pieces: int
    agreed: str


@dataclass(frozen=True, kw_only=True)
class BatchForm:
    """What is proposed for the next batch: ``number`` one above the last, places and the lot of each ingredient
    as last time.

    ``ovens``, ``shifts`` and ``lines`` are those of the last batches, the most frequent first.
    """

    product: str
    number: str
    batches: int
    last: tuple[str, ...]
    lots: dict[str, str]
    oven: str
    shift: str
    line: str
    ovens: tuple[str, ...]
    shifts: tuple[str, ...]
    lines: tuple[str, ...]
    responses: tuple[ResponseBoxes, ...]


def batch_form(store: Store, product: str) -> BatchForm:
    """The empty form of a product's next batch. Raises NotFound with the nearest name."""
    with store.read() as session:
        its = find_product(session, product)
        batches = current_batches(session, its, last=LOOKED_BACK)
        boxes = _boxes(session, its, batches)
    last = batches[-1] if batches else None
    return BatchForm(
        product=its.name,
        number=number_after(last.number if last else "", {each.number for each in batches}),
        batches=len(batches),
        last=tuple(each.number for each in reversed(batches[-8:])),
        lots={name: lot.code for batch in batches for name, lot in batch.lots.items()},
        oven=last.oven if last else "",
        shift=last.shift if last else "",
        line=last.line if last else "",
        ovens=_offered([each.oven for each in batches]),
        shifts=_offered([each.shift for each in batches]),
        lines=_offered([each.line for each in batches]),
        responses=boxes,
    )


def number_after(last: str, taken: set[str]) -> str:
    """ "B009" -> "B010": the last run of digits goes up by one until the number is free; "" when there is none."""
    if not last:
        return "1"
    while (found := _NUMBER.search(last)) is not None:
        digits = found[1]
        last = f"{last[: found.start()]}{int(digits) + 1:0{len(digits)}d}{found[2]}"
        if last not in taken:
            return last
    return ""


def verdict_of(store: Store, product: str, number: str) -> BatchVerdict:
    """What is said of a batch as it stands. Raises NotFound."""
    with store.read() as session:
        its = find_product(session, product)
        batch = current_batch(session, find_batch(session, its, number))
        known = {row.name: row for row in responses_of(session, its)}
        read = [row for row in known.values() if batch.values(row.name)]
        judged = [] if batch.void else [judge_batch(session, its, batch, row) for row in read]
        return BatchVerdict(
            product=its.name,
            batch=batch.number,
            baked_at=batch.baked_at,
            done="",
            verdicts=verdicts_of(session, its, batch, judged, known),
            rules=said_by_rules(session, its, batch, known.values()),
        )


def chart_of_batch(store: Store, product: str, number: str, response: str, *, key: str) -> Figure | str:
    """The control chart of a response with this batch marked; a sentence where no chart can be made."""
    from reports.figures.control import Beneath, draw_control
    from tracker.workflow.batches import list_batches
    from tracker.workflow.chart_wishes import Chosen
    from tracker.workflow.charting import chart_one, phases_that_fit

    series, phases, meets = product_series(store, product, response)
    held, _ = phases_that_fit(phases, Chosen().kind, response)
    try:
        chart = chart_one(series, Chosen(), held, meets).charts[0]
    except AnalysisError as problem:
        return problem.what
    places = {point.batch: at for at, point in enumerate(chart.points)}
    begin = max(min(len(chart.points) - WINDOW, places.get(number, 0) - WINDOW // 2), 0)
    shown = replace(chart, points=chart.points[begin : begin + WINDOW])
    lots = {line.number: line.lots for line in list_batches(store, product)}
    names = dict.fromkeys(name for point in shown.points for name in lots.get(point.batch, {}))
    rows = {name: [lots.get(point.batch, {}).get(name) for point in shown.points] for name in names}
    changing = {name: codes for name, codes in rows.items() if len(set(codes) - {None}) > 1}
    return draw_control(shown, key=key, beneath=Beneath(made_with=changing, first=number, last=number))


def _boxes(session: Session, product: Product, batches: Sequence[CurrentBatch]) -> tuple[ResponseBoxes, ...]:
    found = []
    for row in responses_of(session, product):
        agreed = specification_of(session, product, row)
        last = next((batch for batch in reversed(batches) if batch.values(row.name)), None)
        found.append(
            ResponseBoxes(
                name=row.name,
                unit=row.unit,
                counted=row.scale != "measured",
                pieces=min(len(last.values(row.name)), MOST_PIECES) if last else 1,
                agreed=say_specification(agreed, row.unit) if agreed is not None else "",
            )
        )
    return tuple(found)


def _offered(values: Sequence[str]) -> tuple[str, ...]:
    """Those that were used, the most frequent first."""
    counts = {value: values.count(value) for value in values if value}
    return tuple(sorted(counts, key=lambda value: (-counts[value], value))[:OFFERED])
