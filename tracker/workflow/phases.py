"""Which limits hold from which batch on, and who froze them why?

Frozen limits never move by themselves. Another set is a new phase: an entry with a reason.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlmodel import Session

from analysis.control.results import CountSeries, Limits
from analysis.words.batch_log import say_frozen
from tracker.current_batches import CurrentBatch, current_batches, find_product
from tracker.deeds import Deed
from tracker.errors import Conflict, InputError, NotFound, UsageError
from tracker.intake.spreadsheet import nearest
from tracker.models import LoggedResponse, PhaseEntry, PhaseLimits, Product
from tracker.workflow.batch_series import phases_of, place_of, series_of
from tracker.workflow.counted import counted_limits
from tracker.workflow.logged_responses import find_response, responses_of
from tracker.workflow.lookup import key
from tracker.workflow.phase_views import PhaseView, list_phases, views_of
from tracker.workflow.recorded_alarms import Changes, record_by_chart

if TYPE_CHECKING:
    from tracker.store import Store

__all__ = ["Frozen", "PhaseView", "freeze_limits", "list_phases"]

AUTO = "auto"
COUNTS = "counts"
LEVEL = {"individuals": "individuals", "between": "batch mean", "range": "batch mean", "sd": "batch mean"}


@dataclass(frozen=True, kw_only=True)
class Frozen:
    """A phase that was frozen now, and what that does to alarms from its first batch on."""

    view: PhaseView
    sentences: tuple[str, ...]
    changes: Changes

    def summary(self) -> str:
        said = [*self.sentences, f"Judged by them: {len(self.changes.raised)} alarms entered"]
        said[-1] += f", {len(self.changes.withdrawn)} withdrawn." if self.changes.withdrawn else "."
        return "\n".join(said)

    def to_json(self) -> dict[str, Any]:
        return {
            **self.view.to_json(),
            "sentences": list(self.sentences),
            "alarms_raised": list(self.changes.raised),
            "alarms_withdrawn": list(self.changes.withdrawn),
        }


def freeze_limits(
    store: Store,
    product: str,
    response: str | None,
    *,
    reason: str,
    first: str | None = None,
    last: str | None = None,
    kind: str = AUTO,
    rules: Sequence[str] = (),
    without: Sequence[str] = (),
    person: int = 1,
) -> Frozen:
    """Freeze limits made from batch ``first`` to ``last`` (those ``without`` left out); they hold from ``first`` on.

    Batches from there on are judged by them: alarms are entered, and open ones without ground
    withdrawn. Raises InputError without a reason, NotFound for unknown names, Conflict for a
    phase that would begin before the last one, NotPossible where limits cannot be made.
    """
    from analysis.control.rules import DEFAULT, require_rules

    if not reason.strip():
        raise InputError(
            "Limits are frozen with a reason.",
            where="batch limits",
            try_this='--reason "the first 30 batches were calm"',
        )
    asked = tuple(rule.key for rule in require_rules(rules or DEFAULT))
    with store.write(person=person, action="freeze limits", reason=reason.strip()) as deed:
        its = find_product(deed.session, product)
        found = _response(responses_of(deed.session, its), response, product)
        batches = [batch for batch in current_batches(deed.session, its) if batch.values(found.name)]
        limits, chosen = _made(found, batches, first, last, kind, without, product)
        number = _next_number(deed.session, its, found, _batch(batches, limits.first_batch))
        row = _write(deed, its, found, number, limits, chosen, asked, batches, person=person, reason=reason.strip())
        changes = record_by_chart(
            deed,
            its,
            found,
            person=person,
            since=place_of(deed.session, row),
            reason=f"limits of phase {number} were frozen",
        )
        view = views_of(deed.session, its, found)[-1]
        raised = _in_base(view, found, batches, without)
    sentences = say_frozen(found.name, number, view.phase.limits, found.unit, raised)
    return Frozen(view=view, sentences=sentences, changes=changes)


def _response(known: Sequence[LoggedResponse], name: str | None, product: str) -> LoggedResponse:
    if name is not None:
        return find_response(known, name, product=product)
    measured = [row for row in known if row.scale == "measured"]
    if len(measured) != 1:
        shown = ", ".join(row.name for row in measured) or "none yet"
        raise UsageError(
            f'Which response is meant is not said; "{product}" has {shown}.',
            where="--response",
            try_this=f'--response "{measured[0].name if measured else "NAME"}"',
        )
    return measured[0]


def _made(
    response: LoggedResponse,
    batches: Sequence[CurrentBatch],
    first: str | None,
    last: str | None,
    kind: str,
    without: Sequence[str],
    product: str,
) -> tuple[Limits, str]:
    from analysis.control.charts import choose_kind
    from analysis.control.variables import limits_of

    for option, number in (("--from", first), ("--to", last), *(("--without", each) for each in without)):
        if number is not None:
            _batch(batches, number, option=option, response=response.name)
    series = series_of(batches, response)
    if not series.batches:
        raise Conflict(
            f'"{product}" has no reading of {response.name} yet.',
            where=f'product "{product}"',
            try_this="log some batches first",
        )
    chosen = choose_kind(series) if kind == AUTO else kind
    if isinstance(series, CountSeries):
        return _with_bounds(counted_limits(_base(batches, first, last, without), response), response), COUNTS
    if chosen not in LEVEL:
        raise UsageError(
            f'Limits of kind "{kind}" are not frozen.',
            where="--kind",
            try_this=f"--kind {nearest(kind, list(LEVEL)) or 'individuals'} (of {', '.join([AUTO, *LEVEL])})",
        )
    made = limits_of(series, kind=chosen, first=first, last=last, without=without)
    return _with_bounds(made, response), chosen


def _with_bounds(limits: Limits, response: LoggedResponse) -> Limits:
    """Raises Conflict for limits that no batch could ever leave."""
    if limits.lower is None and limits.upper is None:
        raise Conflict(
            f"The batches {limits.first_batch} to {limits.last_batch} are all alike in {response.name}: "
            "there is no spread to make limits from.",
            where="batch limits",
            try_this="read one digit more, or take further batches",
        )
    return limits


def _base(
    batches: Sequence[CurrentBatch], first: str | None, last: str | None, without: Sequence[str]
) -> list[CurrentBatch]:
    """The batches that limits are made from. Raises InputError for ends the wrong way round."""
    start = _batch(batches, first).place if first else batches[0].place
    stop = _batch(batches, last).place if last else batches[-1].place
    kept = [batch for batch in batches if start <= batch.place <= stop and batch.number not in without]
    if not kept:
        raise InputError(
            "No batch is left to make limits from.", where="batch limits", try_this=f"--from {last} --to {first}"
        )
    return kept


def _batch(
    batches: Sequence[CurrentBatch], number: str, *, option: str = "batch limits", response: str = ""
) -> CurrentBatch:
    for batch in batches:
        if batch.number == number:
            return batch
    known = [batch.number for batch in batches]
    raise NotFound(
        f"There is no batch {number} with readings of {response}.",
        where=option,
        try_this=f"{option} {nearest(number, known) or (known[0] if known else 'NUMBER')}",
    )


def _next_number(session: Session, product: Product, response: LoggedResponse, begins: CurrentBatch) -> int:
    stands = phases_of(session, product, response.name)
    if not stands:
        return 1
    phase, row = stands[-1]
    if begins.place < place_of(session, row):
        raise Conflict(
            f"Phase {phase.number} of {response.name} begins at batch {phase.from_batch}, after batch {begins.number}.",
            where=f'product "{product.name}"',
            try_this=f"--from {phase.from_batch} or a later batch",
        )
    return phase.number + 1


def _write(
    deed: Deed,
    product: Product,
    response: LoggedResponse,
    number: int,
    limits: Limits,
    kind: str,
    rules: Sequence[str],
    batches: Sequence[CurrentBatch],
    *,
    person: int,
    reason: str,
) -> PhaseEntry:
    first, last = (_batch(batches, each).id for each in (limits.first_batch, limits.last_batch))
    row = deed.add(
        PhaseEntry(
            product_id=key(product),
            response=response.name,
            number=number,
            from_batch_id=first,
            kind=kind,
            rules=json.dumps(list(rules), ensure_ascii=False),
            person_id=person,
            at=deed.at,
            reason=reason,
        )
    )
    deed.add(
        PhaseLimits(
            phase_id=key(row),
            chart=LEVEL.get(kind, kind),
            lower=limits.lower,
            centre=limits.centre,
            upper=limits.upper,
            sd=limits.sd,
            method=limits.method,
            batches=limits.batches,
            first_batch_id=first,
            last_batch_id=last,
            provisional=limits.provisional,
            numbers=json.dumps(dict(limits.numbers), sort_keys=True),
        )
    )
    return row


def _in_base(
    view: PhaseView, response: LoggedResponse, batches: Sequence[CurrentBatch], without: Sequence[str]
) -> list[str]:
    """Batches the limits were made from that raise an alarm under them."""
    from analysis.control.charts import chart_batches

    limits = view.phase.limits
    start, stop = (_batch(batches, each).place for each in (limits.first_batch, limits.last_batch))
    series = series_of([batch for batch in batches if start <= batch.place <= stop], response)
    charts = chart_batches(series, kind=view.kind, rules=view.rules, phases=(view.phase,))
    raised = dict.fromkeys(alarm.batch for chart in charts for alarm in chart.alarms)
    return [number for number in raised if number not in without]
