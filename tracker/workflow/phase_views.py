"""Which phases does a response have, and what do their limits say?"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlmodel import Session

from analysis.control.results import Phase
from analysis.words.batch_log import say_phase
from tracker.current_batches import find_product
from tracker.models import LoggedResponse, Product
from tracker.workflow.batch_series import phases_of
from tracker.workflow.logged_responses import find_response, responses_of

if TYPE_CHECKING:
    from tracker.store import Store


@dataclass(frozen=True, kw_only=True)
class PhaseView:
    """One phase of a response as it was frozen."""

    response: str
    unit: str
    kind: str
    rules: tuple[str, ...]
    phase: Phase

    def words(self) -> str:
        return say_phase(self.response, self.unit, self.phase, self.rules)

    def to_json(self) -> dict[str, Any]:
        limits = self.phase.limits
        return {
            "response": self.response,
            "unit": self.unit,
            "phase": self.phase.number,
            "from_batch": self.phase.from_batch,
            "kind": self.kind,
            "rules": list(self.rules),
            "limits": {
                "lower": limits.lower,
                "centre": limits.centre,
                "upper": limits.upper,
                "sd": limits.sd,
                "method": limits.method,
                "batches": limits.batches,
                "first_batch": limits.first_batch,
                "last_batch": limits.last_batch,
                "provisional": limits.provisional,
            },
            "author": limits.author,
            "at": limits.frozen_at,
            "reason": limits.reason,
        }


def list_phases(store: Store, product: str, response: str | None = None) -> tuple[PhaseView, ...]:
    """The phases of one response, or of all. Raises NotFound with the nearest name."""
    with store.read() as session:
        its = find_product(session, product)
        known = responses_of(session, its)
        chosen = [find_response(known, response, product=product)] if response else known
        return tuple(view for each in chosen for view in views_of(session, its, each))


def views_of(session: Session, product: Product, response: LoggedResponse) -> list[PhaseView]:
    return [
        PhaseView(
            response=response.name,
            unit=response.unit,
            kind=row.kind,
            rules=tuple(json.loads(row.rules)),
            phase=phase,
        )
        for phase, row in phases_of(session, product, response.name)
    ]
