"""How does the demo kitchen bake a planned trial and write it down?

Readings come from ``demo_data`` and enter through the same calls, with the same checks, as
anybody's: one call for each run, mishaps included.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from demo_data.generate import Drawn, DrawnBatch, ToBake, draw, draw_notes, draw_scores
from demo_data.truth import mishaps, plan_text, truth
from tracker.intake.numbers import number_text
from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.logging_batches import log_batches
from tracker.workflow.recording import add_note, record_run

if TYPE_CHECKING:
    from tracker.store import Store

MINUTES_BETWEEN_BAKES = 35
LOG_UNITS = {"rise height": "mm", "powder gas": "ml/g", "oven temperature": "°C"}


@dataclass(frozen=True, kw_only=True)
class PlannedRun:
    """A run as the trial shows it. ``settings`` are plain values."""

    code: str
    bake_order: int
    block: str | None
    settings: Mapping[str, float | str]


def planned_runs(runs: Iterable[Mapping[str, Any]]) -> tuple[PlannedRun, ...]:
    """The runs of ``TrialView`` in bake order."""
    found = (
        PlannedRun(
            code=run["code"],
            bake_order=run["bake_order"],
            block=run["block"],
            settings={name: setting["value"] for name, setting in run["settings"].items()},
        )
        for run in runs
    )
    return tuple(sorted(found, key=lambda run: run.bake_order))


def bake_trial(
    store: Store, key: str, trial: str, runs: Sequence[PlannedRun], *, seed: int, people: Sequence[int]
) -> None:
    """Record every run of the trial ``key`` (one of ``TRIALS``) and its taste notes."""
    bakes = [ToBake(code=run.code, day=run.block, settings=run.settings) for run in runs]
    went_wrong = _mishaps(key, runs)
    readings: dict[str, list[Drawn]] = {run.code: [] for run in runs}
    for response in _responses(key):
        for reading in draw(key, response, bakes, seed):
            readings[reading.code].append(reading)
    scores = draw_scores(key, bakes, seed)
    writing = people[:1] if scores else people[:2]  # where several score, the first's own score is the first one's
    for run in runs:
        _record(
            store,
            key,
            trial,
            run,
            readings[run.code],
            went_wrong.get(run.code, {}),
            writing[run.bake_order % len(writing)],
        )
    by_code = {run.code: run for run in runs}
    for score in scores:
        run = by_code[score.code]
        if went_wrong.get(run.code, {}).get("kind") not in ("failed", "skipped"):
            said = [f"{score.response}={number_text(score.value)}"]
            person = people[score.assessor]
            record_run(store, trial, run.code, said, person=person, again=True, at=_baked_at(key, run, hours=4))
    notes = {note.code: note for note in draw_notes(key, bakes, seed)}
    for run in runs:
        if run.code in notes and went_wrong.get(run.code, {}).get("kind") not in ("failed", "skipped"):
            note = notes[run.code]
            add_note(
                store, trial, run.code, note.words, tags=note.tags, person=people[0], at=_baked_at(key, run, hours=5)
            )


def _responses(key: str) -> dict[str, tuple[float, float]]:
    """Response -> the plausible range its plan gives (unbounded where it gives none)."""
    listed = tomllib.loads(plan_text(key))["response"]
    return {part["name"]: tuple(part.get("plausible", (float("-inf"), float("inf")))) for part in listed}


def _mishaps(key: str, runs: Sequence[PlannedRun]) -> dict[str, Mapping[str, Any]]:
    """Code -> the mishap of that run."""
    found = {}
    for mishap in mishaps(key):
        same = [run for run in runs if all(run.settings[name] == value for name, value in mishap["settings"].items())]
        found[same[mishap["nth"] - 1].code] = mishap
    return found


def _record(
    store: Store, key: str, trial: str, run: PlannedRun, drawn: Sequence[Drawn], mishap: Mapping[str, Any], person: int
) -> None:
    at, kind = _baked_at(key, run), mishap.get("kind")
    if kind in ("failed", "skipped"):
        record_run(store, trial, run.code, outcome=kind, reason=mishap["reason"], person=person, at=at)
        return
    values = {(reading.response, reading.piece, reading.repeat): reading.value for reading in drawn}
    meant = values.copy()
    if kind in ("unlikely", "mistyped"):
        values[(mishap["response"], mishap["piece"], 1)] = mishap["value"]
    record_run(
        store,
        trial,
        run.code,
        _texts(values),
        person=person,
        at=at,
        reason=_reason(key, values, mishap),
        deviations=mishap.get("deviations", ""),
        oven_temperature_c=mishap.get("oven_temperature_c"),
    )
    if kind == "mistyped":
        right = meant[(mishap["response"], mishap["piece"], 1)]
        record_run(
            store,
            trial,
            run.code,
            [f"{mishap['response']}={number_text(right)}"],
            piece=mishap["piece"],
            person=person,
            correct=True,
            reason=mishap["reason"],
            at=_baked_at(key, run, hours=3),
        )


def _texts(values: Mapping[tuple[str, int | None, int], float]) -> list[str]:
    """One text for each response, as a baker types it: values in order of pieces and repeats."""
    texts: dict[str, list[str]] = {}
    for (response, _, _), value in values.items():
        texts.setdefault(response, []).append(number_text(value))
    return [f"{response}={' '.join(listed)}" for response, listed in texts.items()]


def _reason(key: str, values: Mapping[tuple[str, int | None, int], float], mishap: Mapping[str, Any]) -> str:
    """Why an unlikely value is kept; empty when none is unlikely, so that the check itself stays on."""
    ranges = _responses(key)
    unlikely = any(not ranges[name][0] <= value <= ranges[name][1] for (name, _, _), value in values.items())
    return (mishap.get("reason") or "measured twice, it stands") if unlikely else ""


def _baked_at(key: str, run: PlannedRun, *, hours: int = 0) -> str:
    """The invented moment of a bake: days in a row, bakes one after the other."""
    part = truth()[key]
    day, place = divmod(run.bake_order - 1, part["bakes_a_day"])
    first = datetime.fromisoformat(part["first_day"]).replace(hour=6, tzinfo=UTC)
    moment = first + timedelta(days=day, minutes=MINUTES_BETWEEN_BAKES * place, hours=hours)
    return moment.isoformat(timespec="seconds").replace("+00:00", "Z")


def log_days(store: Store, product: str, log: Sequence[DrawnBatch], *, person: int) -> int:
    """Write the daily log; returns how many batches it holds."""
    entries = [
        BatchEntry(
            number=batch.number,
            baked_at=batch.baked_at,
            line=batch.line,
            oven=batch.oven,
            shift=batch.shift,
            lots={"flour": batch.flour_lot, "baking powder": batch.powder_lot},
            readings={"rise height": batch.rise_height_mm} | {name: (value,) for name, value in batch.beside.items()},
        )
        for batch in log
    ]
    units = {"rise height": "mm", "powder gas": "ml/g", "oven temperature": "°C"}
    return log_batches(store, product, entries, units=units, person=person)
