"""How did the batches of a day, a week or a month turn out? What the record holds, put together for a page."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlmodel import col, select

from analysis.control.results import BatchSeries, CountSeries
from analysis.errors import AnalysisError
from analysis.words.control import each_alarm
from tracker.audit import canonical, sha256
from tracker.errors import Conflict
from tracker.models import AuditEntry, Kitchen, Product
from tracker.workflow.alarms import causes_of, list_alarms
from tracker.workflow.batch_periods import baked_at, baked_on, period_of
from tracker.workflow.batch_series import product_series, response_names
from tracker.workflow.batches import BatchLine, list_batches
from tracker.workflow.causes import list_responses, log_of
from tracker.workflow.chart_wishes import Chosen
from tracker.workflow.charting import chart_one, only_batches, phases_that_fit
from tracker.workflow.dispositions import batch_story
from tracker.workflow.provenance import as_words, is_invented, versions

if TYPE_CHECKING:
    from reports.page import Page
    from reports.products import ProductsTold
    from reports.sections.batches import AlarmTold, BatchesTold, ResponseTold
    from tracker.store import Store
    from tracker.workflow.reporting import Beside, Look

OF_PLACE = ("line", "oven", "shift")


@dataclass(frozen=True, kw_only=True)
class BatchReport:
    """A page on one product, before it is written, and what a machine is told of it."""

    told: BatchesTold
    summary: str

    @property
    def headline(self) -> tuple[str, ...]:
        """The answer alone."""
        return tuple(line for line in self.summary.splitlines() if not line.startswith(" "))

    def page(self) -> Page:
        from reports.batches import batches_page

        return batches_page(self.told)

    def to_json(self) -> dict[str, Any]:
        told = self.told
        return {
            "schema_version": 1,
            "product": told.product,
            "period": {"kind": told.kind, "first": told.first.isoformat(), "last": told.last.isoformat()},
            "batches": list(told.batches),
            "alarms": [
                {"batch": each.batch, "response": each.response, "words": each.words, "cause": each.cause or None}
                for each in told.alarms
            ],
            "words": self.summary.splitlines(),
        }


def report_batches(
    store: Store,
    product: str,
    *,
    day: str | None = None,
    week: str | None = None,
    month: str | None = None,
    look: Look | None = None,
    why: bool = True,
) -> BatchReport:
    """The page of a product's batches in a period (all of them without one).

    Raises NotFound with the nearest name, UsageError for no date, Conflict for a product without a batch.
    """
    from reports.sections.batches import BatchesTold
    from tracker.workflow.reporting import Look

    lines, zone = list_batches(store, product), _zone(store)
    period = period_of(lines, zone, day=day, week=week, month=month)
    if period is None:
        raise Conflict(
            f'No batch of "{product}" was logged yet.',
            where=f'product "{product}"',
            try_this=f'crumbwise batch log "{product}" NUMBER --reading "rise height=43.1"',
        )
    until = [line for line in lines if baked_on(line, zone) <= period.last]
    own = [line for line in until if baked_on(line, zone) >= period.first]
    command = ["crumbwise", "batch", "report", product, *period.said(), *(look or Look()).said()]
    responses, remarks = _responses(store, product, until, own, why=why) if own else ([], [])
    told = BatchesTold(
        product=product,
        kind=period.kind,
        first=period.first,
        last=period.last,
        batches=tuple(line.number for line in own),
        responses=tuple(responses),
        made_with=_made_with(until),
        alarms=_alarms(store, product, responses, own),
        causes=_causes(store, product, own),
        decisions=_decisions(store, product, own),
        rows=_rows(own, zone),
        rules=Chosen().rules,
        provenance=as_words(_provenance(store, product, until, command)),
        remarks=tuple(remarks),
        invented=is_invented(store),
    )
    return BatchReport(told=told, summary=_summary(told))


@dataclass(frozen=True, kw_only=True)
class ProductsReport:
    """A page on every product, before it is written."""

    told: ProductsTold
    summary: str

    def page(self) -> Page:
        from reports.products import products_page

        return products_page(self.told)

    def to_json(self) -> dict[str, Any]:
        from reports.products import reasons_of

        told = self.told
        return {
            "schema_version": 1,
            "period": {"kind": told.kind, "first": told.first.isoformat(), "last": told.last.isoformat()},
            "products": [
                {"product": each.product, "batches": len(each.batches), "needs_eyes": list(reasons_of(each))}
                for each in told.products
            ],
            "words": self.summary.splitlines(),
        }


def report_products(
    store: Store, *, day: str | None = None, week: str | None = None, month: str | None = None, look: Look | None = None
) -> ProductsReport:
    """Every product of the kitchen on one page, those that need eyes first.

    Raises UsageError for no date, Conflict for a kitchen without a batch.
    """
    from reports.products import ProductsTold, summary_of
    from tracker.workflow.reporting import Look

    zone = _zone(store)
    logged = {name: list_batches(store, name) for name in _products(store)}
    period = period_of([line for lines in logged.values() for line in lines], zone, day=day, week=week, month=month)
    if period is None:
        raise Conflict(
            "No batch of any product was logged yet.",
            where="kitchen",
            try_this='crumbwise batch log "pass scones" 1 --reading "rise height=43.1"',
        )
    wish = {period.kind: period.first.isoformat()} if period.kind != "log" else {}
    found = [report_batches(store, name, **wish, why=False).told for name, lines in logged.items() if lines]  # type: ignore[arg-type]  # dates as text
    command = ["crumbwise", "batch", "report", *period.said(), *(look or Look()).said()]
    facts = {"source": "daily logs", "products": len(found), "versions": versions(), "command": shlex.join(command)}
    told = ProductsTold(
        kind=period.kind,
        first=period.first,
        last=period.last,
        products=tuple(found),
        provenance=as_words({**facts, "as_of": _as_of(store)}),
        invented=is_invented(store),
    )
    return ProductsReport(told=told, summary=summary_of(told))


def write_batches(report: BatchReport | ProductsReport, path: Path, *, look: Look, beside: Beside) -> Path:
    """One HTML or PDF file, whole or not at all."""
    from tracker.workflow.reporting import write_page

    return write_page(lambda: report.page().html(), path, look=look, paper=beside.paper)


def _responses(
    store: Store, product: str, until: Sequence[BatchLine], own: Sequence[BatchLine], *, why: bool
) -> tuple[list[ResponseTold], list[str]]:
    """Each response with a reading in these batches, charted over all up to the last; what cannot be is said."""
    from reports.sections.batches import ResponseTold

    known = {line.name: line for line in list_responses(store, product)}
    numbers, found, remarks = {line.number for line in until}, [], []
    for name in response_names(store, product):
        if not any(line.values.get(name) for line in own):
            continue
        series, phases, meets = product_series(store, product, name)
        series = _cut(series, numbers)
        held, said = phases_that_fit(tuple(p for p in phases if p.from_batch in series.batches), Chosen().kind, name)
        remarks += said
        try:
            charted = chart_one(series, Chosen(), held, meets)
        except AnalysisError as problem:
            remarks.append(f"{name}: {problem.what}")
            continue
        found.append(
            ResponseTold(
                series=series,
                charts=charted.charts,
                specification=charted.specification,
                capability=charted.capability_words,
                why=_why(until, name, list(known.values())) if why and known[name].stands_for in ("", "rise") else None,
            )
        )
    # What the product is judged by comes before what was measured to explain it.
    return sorted(found, key=lambda each: known[each.series.response].stands_for not in ("", "rise")), remarks


def _cut(series: BatchSeries | CountSeries, numbers: set[str]) -> BatchSeries | CountSeries:
    if isinstance(series, BatchSeries):
        return only_batches(series, numbers)
    kept = [at for at, batch in enumerate(series.batches) if batch in numbers]
    return CountSeries(
        response=series.response,
        of=series.of,
        batches=tuple(series.batches[at] for at in kept),
        counts=tuple(series.counts[at] for at in kept),
        sizes=tuple(series.sizes[at] for at in kept),
        at=tuple(series.at[at] for at in kept) if series.at else (),
    )


def _why(until: Sequence[BatchLine], name: str, known: Sequence[Any]) -> Any:
    """What goes with the changes of a response; None where too little was logged to ask."""
    from analysis.control.causes import find_causes

    read = [each for each in known if any(line.values.get(each.name) for line in until)]
    log, gaps = log_of(until, name, read)
    try:
        return find_causes(log, gaps=gaps)
    except AnalysisError:
        return None


def _made_with(until: Sequence[BatchLine]) -> dict[str, dict[str, str]]:
    """Lots first, then places; what never changes is left out by the picture."""
    found: dict[str, dict[str, str]] = {}
    for line in until:
        for name, code in line.lots.items():
            found.setdefault(name, {})[line.number] = code
    return found


def _alarms(
    store: Store, product: str, responses: Sequence[ResponseTold], own: Sequence[BatchLine]
) -> tuple[AlarmTold, ...]:
    """What the charts show of these batches, with the causes that were entered; runs of one rule in one line.

    Charts without frozen limits look back with all batches and may show what no alarm was entered for: it is
    shown, and nobody is asked to answer it.
    """
    from reports.sections.batches import AlarmTold

    entered = {(line.batch, line.response, line.chart, line.rule): line for line in list_alarms(store, product)}
    place = {line.number: at for at, line in enumerate(own)}
    found: list[tuple[tuple[str, ...], AlarmTold]] = []
    for response in responses:
        for chart in response.charts:
            for alarm, words in zip(chart.alarms, each_alarm(chart), strict=True):
                if alarm.batch not in place:
                    continue
                line = entered.get((alarm.batch, chart.response, chart.kind, alarm.rule))
                told = AlarmTold(
                    batch=alarm.batch,
                    response=chart.response,
                    words=words.split(": ", 1)[-1],
                    cause=line.cause if line else "",
                    action=line.action if line else "",
                    open=line is not None and not line.cause,
                    entered=line is not None,
                )
                same = (chart.response, chart.kind, alarm.rule, alarm.side, told.cause, told.action, str(told.entered))
                found.append((same, told))
    return tuple(_runs(found, place))


def _runs(found: Sequence[tuple[tuple[str, ...], AlarmTold]], place: Mapping[str, int]) -> list[AlarmTold]:
    """Alarms of one rule at neighbouring batches become one line, "12 to 15", in order of their first batch."""
    runs: list[tuple[int, AlarmTold]] = []
    for key in dict.fromkeys(key for key, _ in found):
        own = [told for each, told in found if each == key]
        for _, together in groupby(enumerate(own), key=lambda pair: place[pair[1].batch] - pair[0]):
            run = [told for _, told in together]
            name = run[0].batch if len(run) == 1 else f"{run[0].batch} to {run[-1].batch}"
            runs.append((place[run[0].batch], replace(run[0], batch=name, count=len(run))))
    return [told for _, told in sorted(runs, key=lambda pair: pair[0])]


def _causes(store: Store, product: str, own: Sequence[BatchLine]) -> tuple[tuple[str, ...], ...]:
    """The causes that were entered for this product, the most frequent first."""
    return tuple(
        (each.cause, str(each.alarms), str(each.batches), each.last_batch, "; ".join(each.actions) or "–")
        for each in causes_of(store, product).causes
    )


def _decisions(store: Store, product: str, own: Sequence[BatchLine]) -> tuple[tuple[str, ...], ...]:
    rows = []
    for line in own:
        if line.decision:
            last = batch_story(store, product, line.number).decisions[-1]
            rows.append((line.number, last.decision, last.reason))
    return tuple(rows)


def _rows(own: Sequence[BatchLine], zone: str) -> Any:
    """The table of the batches: when, where, from which lots, means, what was decided."""
    from analysis.words.numbers import say_number
    from reports.figures.picture import Table

    places = [name for name in OF_PLACE if len({getattr(line, name) for line in own}) > 1]
    lots = list(dict.fromkeys(name for line in own for name in line.lots))
    names = list(dict.fromkeys(name for line in own for name in line.values))
    columns = ("batch", "baked", *places, *(f"{name} lot" for name in lots), *names, "decided")
    rows = []
    for line in own:
        means = []
        for name in names:
            values = line.values.get(name, ())
            of = f" of {sum(line.sizes[name]):g}" if name in line.sizes else ""
            means.append(f"{say_number(sum(values) if of else sum(values) / len(values))}{of}" if values else "–")
        rows.append(
            (
                line.number,
                baked_at(line, zone).strftime("%Y-%m-%d %H:%M"),
                *(getattr(line, name) or "–" for name in places),
                *(line.lots.get(name, "–") for name in lots),
                *means,
                line.decision or "–",
            )
        )
    return Table(columns=columns, rows=tuple(rows))


def _provenance(store: Store, product: str, until: Sequence[BatchLine], command: Sequence[str]) -> dict[str, Any]:
    return {
        "source": f'daily log of "{product}"',
        "content_sha256": sha256(canonical([line.to_json() for line in until])),
        "as_of": _as_of(store),
        "batches_read": len(until),
        "versions": versions(),
        "command": shlex.join(command),
    }


def _as_of(store: Store) -> str | None:
    """The time of the last entry, never of the page: made again from the same record it says the same."""
    with store.read() as session:
        return session.exec(select(AuditEntry.at).order_by(col(AuditEntry.sequence).desc()).limit(1)).first()


def _products(store: Store) -> list[str]:
    with store.read() as session:
        return list(session.exec(select(Product.name).order_by(col(Product.id))))


def _zone(store: Store) -> str:
    with store.read() as session:
        return session.exec(select(Kitchen.zone)).first() or "UTC"


def _summary(told: BatchesTold) -> str:
    """What a terminal shows: the answer and what to do."""
    from reports.batches import summary_of

    return summary_of(told)
