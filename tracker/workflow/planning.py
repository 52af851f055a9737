"""What will be baked, in which order, and under which codes?

A plan file becomes a trial with its factors, responses and runs in one transaction;
a preview does the same without a kitchen and writes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.designs.plan import Plan
    from tracker.store import Store


@dataclass(frozen=True, kw_only=True)
class PlannedTrial:
    """A plan laid out: what was (or would be) written. ``trial_id`` is None for a preview."""

    name: str
    title: str
    trial_id: int | None
    plan: Plan

    @property
    def cautions(self) -> tuple[str, ...]:
        """Plain sentences the baker should read before baking."""
        raise NotImplementedError

    def summary(self) -> str:
        """A few lines to read on a screen."""
        raise NotImplementedError

    def to_json(self) -> dict[str, Any]:
        """``trial``, ``title``, ``runs``, ``design`` and ``cautions``."""
        raise NotImplementedError


@dataclass(frozen=True, kw_only=True)
class TrialLine:
    """One trial in a list. ``runs`` are planned, ``baked`` have a bake that ended as done."""

    name: str
    title: str
    state: str
    runs: int
    baked: int
    made_at: str

    def to_json(self) -> dict[str, Any]:
        raise NotImplementedError


@dataclass(frozen=True, kw_only=True)
class TrialView:
    """One trial as planned and how far it has come; ``runs`` as in the plan's JSON plus ``state``."""

    line: TrialLine
    question: str
    formula: str | None
    flour_per_bake_g: float | None
    factors: tuple[Mapping[str, Any], ...]
    responses: tuple[Mapping[str, Any], ...]
    runs: tuple[Mapping[str, Any], ...]
    design: Mapping[str, Any]

    def to_json(self) -> dict[str, Any]:
        raise NotImplementedError


def plan_trial(
    store: Store, plan: str | Path, *, name: str | None = None, person: int = 1, seed: int | None = None
) -> PlannedTrial:
    """Write the plan (a path, or the text of a plan file) as a new trial, in one transaction.

    Raises InputError for a plan that contradicts itself, Conflict when the name is taken,
    NotFound for an unknown formula or file.
    """
    raise NotImplementedError


def preview_plan(
    plan: str | Path, store: Store | None = None, *, name: str | None = None, seed: int | None = None
) -> PlannedTrial:
    """The same without writing; needs a kitchen only when the plan names a stored formula."""
    raise NotImplementedError


def list_trials(store: Store) -> tuple[TrialLine, ...]:
    """All trials, oldest first."""
    raise NotImplementedError


def show_trial(store: Store, name: str) -> TrialView:
    """One trial. Raises NotFound with the nearest name."""
    raise NotImplementedError


def close_trial(store: Store, name: str, *, reason: str = "", person: int = 1) -> TrialLine:
    """No more readings are expected. Raises Conflict when it is closed already."""
    raise NotImplementedError


def reopen_trial(store: Store, name: str, *, reason: str, person: int = 1) -> TrialLine:
    """Take a closed trial up again; needs a reason. Raises Conflict when it is not closed."""
    raise NotImplementedError
