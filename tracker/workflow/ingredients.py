"""What did this kitchen measure of its own ingredients?

A measured value comes before the tables: it weighs the runs of a trial and enters the
acid-base account. A new measurement replaces the old one, which stays readable.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from tracker.errors import InputError
from tracker.models import AuditEntry, Ingredient, Trial
from tracker.workflow.lookup import key

if TYPE_CHECKING:
    from tracker.store import Store

USUAL_PH = 4.5  # of a sour liquid, when only its acid was measured
USUAL_WATER = 0.9
TITRATION_END_PH = 8.2  # that of analysis.leavening.batter, which is loaded only where it works


@dataclass(frozen=True, kw_only=True)
class Measured:
    """``neutralises_g``: g baking soda that 100 g use up; ``water_share``: g water in 1 g."""

    name: str
    neutralises_g: float
    ph: float
    water_share: float
    source: str

    def to_json(self) -> dict[str, Any]:
        return dict(self.__dict__)

    def summary(self) -> str:
        return (
            f"{self.name}: 100 g use up {self.neutralises_g:g} g of soda, pH {self.ph:g}, "
            f"{100 * self.water_share:g} % water ({self.source})"
        )


def keep_measured(
    store: Store,
    name: str,
    *,
    neutralises_g: float,
    ph: float | None = None,
    water_share: float | None = None,
    source: str = "",
    person: int = 1,
) -> Measured:
    """Keep a measurement. Raises InputError for numbers that cannot be."""
    name = " ".join(name.split())
    for value, low, high, what in (
        (neutralises_g, 0.0, 300.0, "--neutralises"),
        (ph, 0.0, 14.0, "--ph"),
        (water_share, 0.0, 1.0, "--water"),
    ):
        if value is not None and not low <= value <= high:
            raise InputError(f"{value:g} is impossible.", where=what, try_this=f"a number from {low:g} to {high:g}")
    if neutralises_g > 0 and ph is not None and ph >= TITRATION_END_PH:
        raise InputError(
            f"Acid is titrated up to pH {TITRATION_END_PH:g}, so what has pH {ph:g} has none.",
            where="--ph",
            try_this="--neutralises 0, or measure the pH again",
        )
    if not name:
        raise InputError("The ingredient has no name.", where="NAME", try_this='"our buttermilk"')
    with store.write(person=person, action="keep measured ingredient") as deed:
        before = latest(deed.session).get(name.casefold())
        row = deed.add(
            Ingredient(
                name=name,
                neutralising_value=neutralises_g,
                ph=ph,
                water_share=water_share,
                source=source or "measured in this kitchen",
                price_per_kg=before.price_per_kg if before else None,
                allergens=before.allergens if before else "",
                replaces_id=key(before) if before else None,
            )
        )
        return _as_measured(row)


def list_measured(store: Store) -> tuple[Measured, ...]:
    """What stands, by name."""
    with store.read() as session:
        return tuple(_as_measured(row) for _, row in sorted(_standing(session).items()))


def own_values(session: Session, *, when_planned: Trial | None = None) -> dict[str, Any]:
    """Folded name -> ingredient of ``analysis.leavening``, for what this kitchen measured.

    ``when_planned``: as it stood when that trial was planned. Its runs are weighed by that to
    the last: a measurement between two bakes must not change the treatments.
    """
    from analysis.leavening.ingredients import measured

    return {
        name: measured(row.name, row.neutralising_value, row.water_share, USUAL_PH if row.ph is None else row.ph)
        for name, row in _standing(session, when_planned).items()
        if row.neutralising_value is not None
    }


def _standing(session: Session, when_planned: Trial | None = None) -> dict[str, Ingredient]:
    """Folded name -> the row that nothing replaces, of those with a measured acid."""
    rows = latest(session, when_planned)
    return {name: row for name, row in rows.items() if row.neutralising_value is not None}


def latest(session: Session, when_planned: Trial | None = None) -> dict[str, Ingredient]:
    """Folded name -> the row that nothing replaces."""
    rows = session.exec(select(Ingredient).order_by(col(Ingredient.id))).all()
    if when_planned is not None:
        known = kept_before(session, when_planned)
        rows = [row for row in rows if row.id in known]
    replaced = {row.replaces_id for row in rows}
    return {row.name.casefold(): row for row in rows if row.id not in replaced}


def kept_before(session: Session, trial: Trial) -> set[int]:
    """Ingredients whose audit entry stands before that of the trial."""
    of_trial = select(AuditEntry.sequence).where(AuditEntry.table_name == "trial", AuditEntry.row_id == trial.id)
    planned_at = session.exec(of_trial).one()
    before = select(AuditEntry.row_id).where(
        AuditEntry.table_name == "ingredient", col(AuditEntry.sequence) < planned_at
    )
    return set(session.exec(before))


def _as_measured(row: Ingredient) -> Measured:
    assert row.neutralising_value is not None
    return Measured(
        name=row.name,
        neutralises_g=row.neutralising_value,
        ph=USUAL_PH if row.ph is None else row.ph,
        water_share=USUAL_WATER if row.water_share is None else row.water_share,
        source=row.source,
    )
