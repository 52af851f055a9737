"""Which alarms are recorded with a batch, and which no longer hold?

An alarm is entered when it is found. When a correction or new limits take its ground away it
is withdrawn, which is an entry too; one that somebody gave a cause stays.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session, func, select

from analysis.control.results import Alarm
from analysis.errors import AnalysisError
from tracker.current import rows_of
from tracker.current_batches import CurrentBatch, Place, current_batches, find_batch
from tracker.deeds import Deed
from tracker.models import AlarmAnswer, AlarmEntry, LoggedResponse, Product
from tracker.whole_log import read_log
from tracker.workflow.batch_series import phases_of, phases_over, series_of_log
from tracker.workflow.judged import Judged, judge_batch
from tracker.workflow.logged_responses import responses_of
from tracker.workflow.lookup import key

Found = tuple[str, Alarm]  # kind of chart, and the alarm on it


@dataclass(frozen=True, kw_only=True)
class Finding:
    """What was found of one batch (its row), under which phase (its row; None: provisional)."""

    batch: int
    alarms: tuple[Found, ...]
    phase: int | None


@dataclass(frozen=True, kw_only=True)
class Changes:
    """Alarms by their numbers: those entered now, those withdrawn now."""

    raised: tuple[int, ...] = ()
    withdrawn: tuple[int, ...] = ()

    def __add__(self, other: Changes) -> Changes:
        return Changes(raised=self.raised + other.raised, withdrawn=self.withdrawn + other.withdrawn)


def judge_and_record(
    deed: Deed,
    product: Product,
    batch: CurrentBatch,
    responses: Sequence[LoggedResponse],
    *,
    person: int,
    reason: str = "the batch was judged anew",
) -> tuple[list[Judged], Changes]:
    """Judge a batch that was logged or corrected, and those behind it whose patterns it may belong to."""
    behind = _behind(deed, product, batch.place)
    judged: list[Judged] = []
    changes = Changes()
    for response in responses:
        found, own = _judge_all(deed, product, [batch, *behind], response)
        judged += [one for one in own if one.batch == batch.number]
        changes += _settle(deed, product, response.name, found, person=person, reason=reason)
    return judged, changes


def judge_following(deed: Deed, product: Product, place: Place, *, person: int, reason: str) -> Changes:
    """Judge the batches behind a place anew, since one that stood there has moved."""
    changes = Changes()
    behind = _behind(deed, product, place)
    for response in responses_of(deed.session, product):
        found, _ = _judge_all(deed, product, behind, response)
        changes += _settle(deed, product, response.name, found, person=person, reason=reason)
    return changes


def _behind(deed: Deed, product: Product, place: Place) -> list[CurrentBatch]:
    from analysis.control.judging import LOOKS_BACK

    return current_batches(deed.session, product, after=place, first=LOOKS_BACK)


def _judge_all(
    deed: Deed, product: Product, batches: Sequence[CurrentBatch], response: LoggedResponse
) -> tuple[list[Finding], list[Judged]]:
    """What is found of each; one that was taken back, or has no reading, has no alarms."""
    found: list[Finding] = []
    judged: list[Judged] = []
    for each in batches:
        stands = not each.void and bool(each.values(response.name))
        one = judge_batch(deed.session, product, each, response) if stands else None
        judged += [one] if one is not None else []
        found.append(
            Finding(
                batch=each.id,
                alarms=one.verdict.alarms if one and one.verdict else (),
                phase=one.held.phase_id if one and one.held else None,
            )
        )
    return found, judged


def record_by_chart(
    deed: Deed,
    product: Product,
    response: LoggedResponse,
    *,
    person: int,
    since: Place | None = None,
    only: Iterable[int] | None = None,
    reason: str,
) -> Changes:
    """Enter what the chart of the whole log says of many batches at once: after an import, under new limits.

    ``since`` is where they begin, ``only`` the rows of the batches that count (all of them when left out).
    """
    from analysis.control.charts import chart_batches

    batches = read_log(deed.session, product, response.name)
    series = series_of_log(batches, response)
    if len(series.batches) < 2:
        return Changes()
    phases = phases_over(deed.session, product, response, batches)
    rows = {
        phase.number: (row.id, row.kind, row.rules) for phase, row in phases_of(deed.session, product, response.name)
    }
    try:
        charts = chart_batches(series, kind=_kind(rows, phases), phases=phases, **_rules(rows, phases))
    except AnalysisError:
        return Changes()  # nothing to judge by: one batch, or no spread; the chart says so when it is asked for
    counted = None if only is None else set(only)
    wanted = {
        batch.number: batch.id
        for batch in batches
        if (since is None or batch.place >= since) and (counted is None or batch.id in counted)
    }
    phase_of = {point.batch: point.phase for point in charts[0].points}
    own: dict[str, list[Found]] = {number: [] for number in wanted}
    for chart in charts:
        for alarm in chart.alarms:
            if alarm.batch in own:
                own[alarm.batch].append((chart.kind, alarm))
    found = [
        Finding(
            batch=wanted[number],
            alarms=tuple(alarms),
            phase=rows[phase_of[number]][0] if phases and phase_of.get(number) in rows else None,
        )
        for number, alarms in own.items()
    ]
    every = {batch.number: batch.id for batch in batches}
    return _settle(deed, product, response.name, found, person=person, reason=reason, every=every)


def _kind(rows: Mapping[int, tuple[int | None, str, str]], phases: Sequence[object]) -> str:
    """The kind of the last phase; what suits the series without one."""
    return rows[max(rows)][1] if rows and phases else "auto"


def _rules(rows: Mapping[int, tuple[int | None, str, str]], phases: Sequence[object]) -> dict[str, tuple[str, ...]]:
    import json

    rules = tuple(json.loads(rows[max(rows)][2])) if rows and phases else ()
    return {"rules": rules} if rules else {}


def withdraw_from(deed: Deed, batches: Sequence[int], *, person: int, reason: str) -> Changes:
    """Withdraw the open alarms of batches (their rows) that were taken back."""
    gone = standing_alarms(deed.session, batches)
    return Changes(withdrawn=_withdraw(deed, gone, person, reason))


def standing_alarms(session: Session, batches: Iterable[int], response: str | None = None) -> list[AlarmEntry]:
    """Alarms of these batches that were not withdrawn, in order of entry."""
    rows = rows_of(session, AlarmEntry, AlarmEntry.batch_id, sorted(set(batches)))
    last = latest_answers(session, [row.id or 0 for row in rows])
    return [
        row
        for row in rows
        if response in (None, row.response) and (row.id not in last or last[row.id or 0].state != "withdrawn")
    ]


def latest_answers(session: Session, alarms: Iterable[int]) -> dict[int, AlarmAnswer]:
    """Alarm -> what was last said of it."""
    return {row.alarm_id: row for row in rows_of(session, AlarmAnswer, AlarmAnswer.alarm_id, sorted(set(alarms)))}


def _settle(
    deed: Deed,
    product: Product,
    response: str,
    found: Sequence[Finding],
    *,
    person: int,
    reason: str,
    every: Mapping[str, int] | None = None,
) -> Changes:
    """Bring the alarms of these batches to what was found now. ``every`` knows the rows of batches by number."""
    most = deed.session.exec(select(func.max(AlarmEntry.number)).where(AlarmEntry.product_id == product.id)).one() or 0
    stands: dict[int, dict[tuple[str, str, str], AlarmEntry]] = {}
    for row in standing_alarms(deed.session, [each.batch for each in found], response) if most else []:
        stands.setdefault(row.batch_id, {})[row.chart, row.rule, row.side] = row
    new: list[AlarmEntry] = []
    gone: list[AlarmEntry] = []
    for each in found:
        known = stands.get(each.batch, {})
        wanted = {(chart, alarm.rule, alarm.side): alarm for chart, alarm in each.alarms}
        gone += [row for its, row in known.items() if its not in wanted]
        new += [
            AlarmEntry(
                product_id=key(product),
                number=0,
                response=response,
                chart=chart,
                rule=rule,
                batch_id=each.batch,
                since_batch_id=_since(deed, product, alarm, each.batch, every or {}),
                value=alarm.value,
                side=side,
                phase_id=each.phase,
                at=deed.at,
            )
            for (chart, rule, side), alarm in wanted.items()
            if (chart, rule, side) not in known
        ]
    for number, row in enumerate(new, start=most + 1):
        row.number = number
    raised = tuple(row.number for row in deed.add_many(new))
    return Changes(raised=raised, withdrawn=_withdraw(deed, gone, person, reason))


def _since(deed: Deed, product: Product, alarm: Alarm, batch: int, every: Mapping[str, int]) -> int:
    if alarm.since == alarm.batch:
        return batch
    if alarm.since in every:
        return every[alarm.since]
    return key(find_batch(deed.session, product, alarm.since))


def _withdraw(deed: Deed, alarms: Sequence[AlarmEntry], person: int, reason: str) -> tuple[int, ...]:
    last = latest_answers(deed.session, [row.id or 0 for row in alarms])
    open_ones = [row for row in alarms if row.id not in last or last[row.id or 0].state != "answered"]
    deed.add_many(
        AlarmAnswer(alarm_id=key(row), state="withdrawn", person_id=person, at=deed.at, reason=reason)
        for row in open_ones
    )
    return tuple(row.number for row in open_ones)
