"""How do records become tables that can be analysed?

Frames have named columns, amounts as float and categories as ordered categoricals with
their stored levels. Only what stands is in them: what was replaced or taken back stays in
the record.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import pandas as pd

from tracker.batch_frames import batch_details, batch_table
from tracker.current import CurrentTrial, current_trial, design_as_it_stands
from tracker.errors import InputError
from tracker.fingerprints import audit_head, content_hash
from tracker.models import (
    Factor,
    Outcome,
    Response,
    Run,
    Trial,
)
from tracker.store import Store

__all__ = [
    "LeftOut",
    "Replacement",
    "TrialTables",
    "audit_head",
    "batch_details",
    "batch_table",
    "content_hash",
    "trial_tables",
]


STAGE = "stage"  # as analysis.designs.extending names what was added to a trial without blocks


class LeftOut(NamedTuple):
    """A run that is in no table (``response`` None), or a bake without a reading of one response."""

    code: str
    why: str
    response: str | None


class Replacement(NamedTuple):
    """A dose that was measured at the bench and is analysed in place of the planned one."""

    code: str
    factor: str
    planned: float
    used: float
    unit: str
    why: str


@dataclass(frozen=True, kw_only=True)
class TrialTables:
    """One trial, ready to analyse.

    ``tables`` maps each response to a frame with one row per reading: ``bake`` (the run's code),
    ``bake_order``, the block column (named ``block``) if the trial is blocked, one column for each of
    ``groups`` (whole plot, row, oven load), one per factor, ``piece`` (<NA> when the whole bake
    was read), ``repeat`` and the response itself.
    ``runs`` has one row per run with its ``state`` (done, failed, skipped, "" when open).
    ``notes`` has one row per taste note with ``words``, ``tags`` (a list), ``person`` and ``at``.
    ``assessed`` has one row per reading of a score: ``bake``, ``response``, ``score``, ``person`` and the factors.
    """

    trial: Trial
    factors: tuple[Factor, ...]
    responses: tuple[Response, ...]
    block: str | None
    groups: tuple[str, ...]
    design: dict[str, Any]
    tables: dict[str, pd.DataFrame]
    runs: pd.DataFrame
    notes: pd.DataFrame
    assessed: pd.DataFrame
    left_out: list[LeftOut]
    replaced: list[Replacement]


def trial_tables(store: Store, trial: str) -> TrialTables:
    """The tables of a trial. Raises NotFound with the nearest name."""
    with store.read() as session:
        current = current_trial(session, trial)
        design = design_as_it_stands(session, current.trial)
    block = _block_name(current)
    _refuse_same_names(current, block)
    replaced: list[Replacement] = []
    doses = {run.code: _doses(current, run, replaced) for run in current.runs}
    used = [run for run in current.runs if _end(current, run)[0] not in ("failed", "skipped")]
    return TrialTables(
        trial=current.trial,
        factors=current.factors,
        responses=current.responses,
        block=block,
        design=design,
        groups=tuple(name for name in _group_names(current) if name != block),
        tables={
            response.name: _response_table(current, response, used, doses, block) for response in current.responses
        },
        runs=_runs_table(current, doses, block),
        notes=_notes_table(current, doses, block),
        assessed=_assessed_table(current, used, doses, block),
        left_out=_left_out(current),
        replaced=replaced,
    )


def _block_name(current: CurrentTrial) -> str | None:
    if all(run.block is None for run in current.runs):
        return None
    return str(json.loads(current.trial.design).get("block") or "block")


def _group_names(current: CurrentTrial) -> list[str]:
    """Every group that some run stands in, in the order the plans named them."""
    return list(dict.fromkeys(name for run in current.runs for name in json.loads(run.groups)))


def _groups(current: CurrentTrial, run: Run) -> dict[str, str]:
    """The groups of a run; what was planned first is the first stage of a trial that runs were added to."""
    groups = dict(json.loads(run.groups))
    if STAGE in _group_names(current):
        groups.setdefault(STAGE, "1")
    return groups


def _refuse_same_names(current: CurrentTrial, block: str | None) -> None:
    """Two columns of one name cannot be told apart."""
    groups = [name for name in _group_names(current) if name != block]
    names = ["bake", "bake_order", "piece", "repeat", *([block] if block else []), *groups]
    names += [factor.name for factor in current.factors]
    for response in current.responses:
        clash = [name for name in {*names, response.name} if [*names, response.name].count(name) > 1]
        if clash:
            raise InputError(
                f'"{clash[0]}" names more than one column.',
                where=f'trial "{current.trial.name}"',
                try_this="plan the trial again with another name for that factor, response or block",
            )


def _doses(current: CurrentTrial, run: Run, replaced: list[Replacement]) -> dict[str, Any]:
    """Factor -> value to analyse: measured at the bench where it was, else as planned."""
    doses = current.settings(run)
    for factor in current.factors:
        measured = _measured(current, run, factor) if factor.kind == "amount" else None
        planned = doses.get(factor.name)
        if measured is None or planned is None:
            continue
        used, why = measured
        if abs(used - float(planned)) > 1e-9 * max(1.0, abs(float(planned))):
            replaced.append(Replacement(run.code, factor.name, float(planned), used, factor.unit, why))
            doses[factor.name] = used
    return doses


def doses_analysed(current: CurrentTrial, run: Run) -> dict[str, Any]:
    """What the analysis takes for the factors of a run: as measured at the bench, else as planned."""
    return _doses(current, run, [])


def _measured(current: CurrentTrial, run: Run, factor: Factor) -> tuple[float, str] | None:
    number, flour = run.id or 0, current.trial.flour_per_bake_g
    if factor.ingredient and factor.unit == "% flour" and flour:
        for weighing in current.weighings.get(number, []):
            if weighing.ingredient.casefold() == factor.ingredient.casefold():
                return weighing.grams / flour * 100, f"{weighing.grams:g} g were weighed"
    outcome = current.outcomes.get(number)
    oven = outcome.oven_temperature_c if outcome is not None else None
    if oven is not None and factor.unit == "°C" and "oven" in factor.name.lower():
        return oven, "measured in the oven"
    return None


def _end(current: CurrentTrial, run: Run) -> tuple[str, str]:
    """How a run ended and why: state ("" when open) and reason."""
    outcome: Outcome | None = current.outcomes.get(run.id or 0)
    return (outcome.state, outcome.reason) if outcome is not None else ("", "")


def _left_out(current: CurrentTrial) -> list[LeftOut]:
    left: list[LeftOut] = []
    for run in current.runs:
        state, reason = _end(current, run)
        readings = current.readings.get(run.id or 0, [])
        if state in ("failed", "skipped"):
            left.append(LeftOut(run.code, f"{state}: {reason}", None))
        elif not readings and state != "done":
            left.append(LeftOut(run.code, "not yet baked", None))
        else:
            read = {reading.response for reading in readings}
            left += [LeftOut(run.code, "no reading", each.name) for each in current.responses if each.name not in read]
    return left


def _response_table(
    current: CurrentTrial, response: Response, runs: Sequence[Run], doses: dict[str, dict[str, Any]], block: str | None
) -> pd.DataFrame:
    rows = [
        (run, reading)
        for run in runs
        for reading in sorted(
            current.readings.get(run.id or 0, []),
            key=lambda each: (current.pieces.get(each.piece_id or 0, 0), each.repeat, each.id or 0),
        )
        if reading.response == response.name
    ]
    columns = _run_columns(current, [run for run, _ in rows], doses, block)
    columns["piece"] = pd.array([current.pieces.get(reading.piece_id or 0) for _, reading in rows], dtype="Int64")
    columns["repeat"] = pd.array([reading.repeat for _, reading in rows], dtype="int64")
    columns[response.name] = pd.array([reading.value for _, reading in rows], dtype="float64")
    return _frame(columns)


def _assessed_table(
    current: CurrentTrial, runs: Sequence[Run], doses: dict[str, dict[str, Any]], block: str | None
) -> pd.DataFrame:
    """Scores by the number of who gave them; names are in no frame."""
    scores = {response.name for response in current.responses if response.scale == "score"}
    rows = [
        (run, reading)
        for run in runs
        for reading in current.readings.get(run.id or 0, [])
        if reading.response in scores
    ]
    columns = _run_columns(current, [run for run, _ in rows], doses, block)
    columns["response"] = pd.array([reading.response for _, reading in rows], dtype="str")
    columns["score"] = pd.array([reading.value for _, reading in rows], dtype="float64")
    columns["person"] = pd.array([reading.person_id for _, reading in rows], dtype="int64")
    return _frame(columns)


def _frame(columns: dict[str, Any]) -> pd.DataFrame:
    return pd.DataFrame({name: pd.Series(values) for name, values in columns.items()})


def _run_columns(
    current: CurrentTrial, runs: Sequence[Run], doses: dict[str, dict[str, Any]], block: str | None
) -> dict[str, Any]:
    """Columns that say which run a row belongs to: code, order, block and factors."""
    columns: dict[str, Any] = {
        "bake": pd.array([run.code for run in runs], dtype="str"),
        "bake_order": pd.array([run.bake_order for run in runs], dtype="int64"),
    }
    if block is not None:
        known = list(dict.fromkeys(run.block for run in current.runs if run.block is not None))
        columns[block] = pd.Categorical([run.block for run in runs], categories=known, ordered=True)
    stands = {run.code: _groups(current, run) for run in current.runs}
    for name in _group_names(current):
        if name != block:
            known = list(dict.fromkeys(groups[name] for groups in stands.values() if name in groups))
            labels = [stands[run.code].get(name) for run in runs]
            columns[name] = pd.Categorical(labels, categories=known, ordered=True)
    for factor in current.factors:
        columns[factor.name] = _factor_column(factor, [doses[run.code].get(factor.name) for run in runs])
    return columns


def _factor_column(factor: Factor, values: list[Any]) -> Any:
    if factor.kind != "category":  # shares are numbers too: parts of a whole
        return pd.array([None if value is None else float(value) for value in values], dtype="float64")
    levels = [str(level) for level in json.loads(factor.levels)]
    met = [str(value) for value in values if value is not None]
    known = list(dict.fromkeys([*levels, *met]))
    return pd.Categorical([None if value is None else str(value) for value in values], categories=known, ordered=True)


def _runs_table(current: CurrentTrial, doses: dict[str, dict[str, Any]], block: str | None) -> pd.DataFrame:
    columns = _run_columns(current, current.runs, doses, block)
    outcomes = [current.outcomes.get(run.id or 0) for run in current.runs]
    columns["place_in_design"] = pd.array([run.place_in_design for run in current.runs], dtype="int64")
    for name in ("state", "reason", "deviations"):
        columns[name] = pd.array([getattr(each, name) if each else "" for each in outcomes], dtype="str")
    columns["oven_temperature_c"] = pd.array(
        [each.oven_temperature_c if each else None for each in outcomes], dtype="float64"
    )
    return _frame(columns)


def _notes_table(current: CurrentTrial, doses: dict[str, dict[str, Any]], block: str | None) -> pd.DataFrame:
    rows = [(run, note) for run in current.runs for note in current.notes.get(run.id or 0, [])]
    columns = _run_columns(current, [run for run, _ in rows], doses, block)
    columns["piece"] = pd.array([current.pieces.get(note.piece_id or 0) for _, note in rows], dtype="Int64")
    columns["words"] = pd.array([note.words for _, note in rows], dtype="str")
    columns["tags"] = pd.Series([json.loads(note.tags) for _, note in rows], dtype="object")
    columns["person"] = pd.array([note.person_id for _, note in rows], dtype="int64")
    columns["at"] = pd.array([note.at for _, note in rows], dtype="str")
    return _frame(columns)
