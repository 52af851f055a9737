"""Is this the same content, and the same record, as the one a report was made from?"""

from __future__ import annotations

import json
from typing import Any

from sqlmodel import Session, col, func, select

from tracker.audit import FIRST_PREVIOUS_HASH, canonical, sha256
from tracker.current import CurrentTrial, current_trial
from tracker.log_fingerprints import product_hash
from tracker.models import AuditEntry, Factor, Response, Run
from tracker.store import Store

__all__ = ["audit_head", "content_hash", "content_hash_in", "product_hash"]


def audit_head(store: Store) -> tuple[int, str]:
    """How many audit entries there are, and the hash of the last one."""
    with store.read() as session:
        count = session.exec(select(func.count()).select_from(AuditEntry)).one()
        head = session.exec(select(AuditEntry.hash).order_by(col(AuditEntry.sequence).desc()).limit(1)).first()
    return count, head or FIRST_PREVIOUS_HASH


def content_hash(store: Store, trial: str) -> str:
    """SHA-256 over the canonical content of a trial: plan, runs, and what stands of its bakes.

    The same for the same content on any database: numbers that a database hands out, people
    and moments of entry are left out, and rows are sorted by what they say.
    """
    with store.read() as session:
        return content_hash_in(session, trial)


def content_hash_in(session: Session, trial: str) -> str:
    """The same within a session that is open already."""
    return sha256(canonical(_content(current_trial(session, trial))))


def _content(current: CurrentTrial) -> dict[str, Any]:
    trial = current.trial
    return {
        "trial": {
            "name": trial.name,
            "title": trial.title,
            "question": trial.question,
            "flour_per_bake_g": trial.flour_per_bake_g,
            "seed": trial.seed,
            "plan": trial.plan,
            "design": json.loads(trial.design),
        },
        "formula": _formula(current),
        "factors": [_factor(factor) for factor in current.factors],
        "responses": [_response(response) for response in current.responses],
        "runs": [_run(current, run) for run in sorted(current.runs, key=lambda run: run.place_in_design)],
    }


def _formula(current: CurrentTrial) -> dict[str, Any] | None:
    if current.formula is None:
        return None
    lines = [[line.ingredient, line.bakers_percent, line.flour] for line in current.formula_lines]
    return {
        "name": current.formula.name,
        "version": current.formula.version,
        "method": current.formula.method,
        "lines": lines,
    }


def _factor(factor: Factor) -> dict[str, Any]:
    kept = factor.model_dump(exclude={"id", "trial_id"})
    return {**kept, "levels": json.loads(factor.levels), "settings": json.loads(factor.settings)}


def _response(response: Response) -> dict[str, Any]:
    return {**response.model_dump(exclude={"id", "trial_id"}), "anchors": json.loads(response.anchors)}


def _run(current: CurrentTrial, run: Run) -> dict[str, Any]:
    number = run.id or 0
    outcome = current.outcomes.get(number)
    photos = current.photos.get(number, [])

    def piece(row: Any) -> int:
        return 0 if row.piece_id is None else current.pieces[row.piece_id]

    return {
        "place_in_design": run.place_in_design,
        "bake_order": run.bake_order,
        "block": run.block,
        "code": run.code,
        "settings": json.loads(run.settings),
        **({"groups": json.loads(run.groups)} if run.groups != "{}" else {}),
        "outcome": None
        if outcome is None
        else [outcome.state, outcome.reason, outcome.deviations, outcome.oven_temperature_c],
        "weighings": sorted([row.ingredient, row.grams] for row in current.weighings.get(number, [])),
        "readings": sorted(
            [row.response, piece(row), row.repeat, row.value, row.implausible]
            for row in current.readings.get(number, [])
        ),
        "notes": sorted([piece(row), row.words, json.loads(row.tags)] for row in current.notes.get(number, [])),
        **({"photos": sorted([piece(row), row.sha256, row.words] for row in photos)} if photos else {}),
    }
