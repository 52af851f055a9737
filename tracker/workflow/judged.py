"""Is a batch what the process does by itself, and which alarms does it raise?

One batch is judged from the limits that hold for it and the last few points before it, however
long the log: frozen limits, else what the trial promised (until 20 batches exist), else
provisional limits from the batches before it, a hundred at most.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from analysis.control.limits import PROMISED
from analysis.control.results import BatchSeries, Limits, Phase, Point
from analysis.errors import AnalysisError
from analysis.words.batch_log import say_too_few
from tracker.current import standing
from tracker.current_batches import CurrentBatch, Place, current_batches
from tracker.models import Expectation, LoggedResponse, Product, Trial
from tracker.workflow.batch_series import phases_of, place_of, series_of

if TYPE_CHECKING:
    from analysis.control.judging import Verdict

BEFORE = 100  # batches that provisional limits are made from
FEWEST = 5  # batches before the first limits: fewer tell next to nothing of a spread. Common practice, no source.
SPARSE = 200  # so far back the last readings of a response are looked for when not every batch is read for it


@dataclass(frozen=True, kw_only=True)
class Held:
    """The limits that hold for a batch: of a frozen phase, ``expected`` from a trial, or provisional."""

    limits: Limits
    rules: tuple[str, ...]
    phase: Phase | None = None
    phase_id: int | None = None
    begins: Place | None = None
    expected_from: str = ""


@dataclass(frozen=True, kw_only=True)
class Judged:
    """One response of one batch. Without a ``verdict``, ``why_not`` says why it was not judged."""

    response: str
    unit: str
    batch: str
    values: tuple[float, ...]
    held: Held | None = None
    verdict: Verdict | None = None
    why_not: str = ""


def judge_batch(session: Session, product: Product, batch: CurrentBatch, response: LoggedResponse) -> Judged:
    """Judge one response of a batch that stands; reads the limits and the last few batches, not the log."""
    values = batch.values(response.name)
    told: dict[str, Any] = {"response": response.name, "unit": response.unit, "batch": batch.number, "values": values}
    try:
        held, before = _held(session, product, batch, response)
        return Judged(**told, held=held, verdict=_verdict(held, before, batch, response))
    except AnalysisError as wrong:
        return Judged(**told, why_not=wrong.what)


def _verdict(held: Held, before: Sequence[CurrentBatch], batch: CurrentBatch, response: LoggedResponse) -> Verdict:
    if response.scale != "measured":
        from tracker.workflow.counted import judge_counts

        number = held.phase.number if held.phase else 1
        return judge_counts(held.limits, before, batch, response, rules=held.rules, phase=number)
    from analysis.control.judging import judge

    last = [_point(held, each.values(response.name), each.number) for each in before]
    values = batch.values(response.name)
    return judge(held.phase or held.limits, last, values, batch=batch.number, rules=held.rules)


def _held(
    session: Session, product: Product, batch: CurrentBatch, response: LoggedResponse
) -> tuple[Held, list[CurrentBatch]]:
    """The limits that hold for a batch, and the batches under the same limits just before it, oldest first."""
    from analysis.control.judging import LOOKS_BACK
    from analysis.control.rules import DEFAULT

    for phase, row in reversed(phases_of(session, product, response.name)):
        begins = place_of(session, row)
        if begins <= batch.place:
            rules = tuple(json.loads(row.rules)) or DEFAULT
            held = Held(limits=phase.limits, rules=rules, phase=phase, phase_id=row.id, begins=begins)
            before = read_before(session, product, batch.place, response, LOOKS_BACK)
            return held, [each for each in before if each.place >= begins]
    before = read_before(session, product, batch.place, response, BEFORE)
    held = _provisional(session, product, response, before, several=len(batch.values(response.name)) > 1)
    return held, before[-LOOKS_BACK:]


def read_before(
    session: Session, product: Product, place: Place, response: LoggedResponse, wanted: int
) -> list[CurrentBatch]:
    """The last batches before a place that have a reading of the response, oldest first."""
    asked = wanted
    while True:
        found = current_batches(session, product, before=place, last=asked)
        read = [batch for batch in found if batch.values(response.name)]
        if len(read) >= wanted or len(found) < asked or asked >= SPARSE:
            return read[-wanted:]
        asked = SPARSE  # a response that is read now and then


def _provisional(
    session: Session, product: Product, response: LoggedResponse, before: Sequence[CurrentBatch], *, several: bool
) -> Held:
    from analysis.control.limits import FEW
    from analysis.control.rules import DEFAULT
    from analysis.control.variables import limits_of
    from analysis.errors import NotPossible

    if len(before) < FEW:
        expected = expected_limits(session, product, response.name)
        if expected is not None:
            return Held(limits=expected[0], rules=DEFAULT, expected_from=expected[1])
    if len(before) < FEWEST:
        raise NotPossible(
            say_too_few(len(before), FEWEST),
            where=response.name,
            try_this="log further batches",
        )
    series = series_of(before, response)
    if not isinstance(series, BatchSeries):
        from tracker.workflow.counted import counted_limits

        return Held(limits=counted_limits(before, response), rules=DEFAULT)
    within = several and any(len(values) > 1 for values in series.values)
    return Held(limits=limits_of(series, kind="between" if within else "individuals"), rules=DEFAULT)


def expectation_of(session: Session, product: Product, response: str) -> Expectation | None:
    """What the trial promised, as it stands."""
    wanted = select(Expectation).where(Expectation.product_id == product.id, Expectation.response == response)
    stands = standing(session.exec(wanted.order_by(col(Expectation.id))))
    return stands[-1] if stands else None


def expected_limits(session: Session, product: Product, response: str) -> tuple[Limits, str] | None:
    """Limits from the trial's promised mean and spread, and the trial's name."""
    row = expectation_of(session, product, response)
    if row is None:
        return None
    trial = session.get(Trial, row.trial_id)
    assert trial is not None
    reach = 3 * row.sd
    limits = Limits(
        lower=row.mean - reach,
        centre=row.mean,
        upper=row.mean + reach,
        sd=row.sd,
        method=PROMISED,
        batches=0,
        first_batch="",
        last_batch="",
        provisional=True,
        numbers={"mean": row.mean, "spread": row.sd},
    )
    return limits, trial.name


def _point(held: Held, values: tuple[float, ...], number: str) -> Point:
    """An earlier batch as a point under the limits that hold now."""
    import numpy as np

    from analysis.control.limits import level_bounds

    lower, centre, upper = (
        None if np.isnan(bound[0]) else float(bound[0])
        for bound in level_bounds(held.limits, np.array([float(len(values))]))
    )
    return Point(
        batch=number,
        value=float(np.mean(np.sort(values))),
        lower=lower,
        centre=held.limits.centre if centre is None else centre,
        upper=upper,
        phase=held.phase.number if held.phase else 1,
    )
