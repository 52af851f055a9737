"""What does an ingredient cost in this kitchen?

A price belongs to the ingredient, in the money of the kitchen for a kilogram. A new price replaces
the old one, which stays readable.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING, Any

from sqlmodel import Session

from tracker.errors import InputError
from tracker.models import Ingredient
from tracker.workflow.ingredients import latest
from tracker.workflow.lookup import key

if TYPE_CHECKING:
    from tracker.store import Store


@dataclass(frozen=True, kw_only=True)
class Price:
    name: str
    per_kg: float

    def to_json(self) -> dict[str, Any]:
        return {"name": self.name, "price_per_kg": self.per_kg}

    def summary(self) -> str:
        return f"{self.name}: {self.per_kg:g} per kg"


def keep_price(store: Store, name: str, per_kg: float, *, person: int = 1) -> Price:
    """Keep the price of an ingredient beside what was measured of it. Raises InputError."""
    name = " ".join(name.split())
    if not name:
        raise InputError("The ingredient has no name.", where="NAME", try_this='"wheat flour"')
    if not (isfinite(per_kg) and per_kg >= 0):
        raise InputError(f"{per_kg:g} is no price.", where="PRICE", try_this="a number of 0 or more, for one kilogram")
    with store.write(person=person, action="keep price") as deed:
        before = latest(deed.session).get(name.casefold())
        deed.add(
            Ingredient(
                name=name,
                neutralising_value=before.neutralising_value if before else None,
                ph=before.ph if before else None,
                water_share=before.water_share if before else None,
                allergens=before.allergens if before else "",
                source=before.source if before else "",
                price_per_kg=per_kg,
                replaces_id=key(before) if before else None,
            )
        )
    return Price(name=name, per_kg=per_kg)


def list_prices(store: Store) -> tuple[Price, ...]:
    """What stands, by name."""
    with store.read() as session:
        rows = latest(session)
        return tuple(
            Price(name=row.name, per_kg=row.price_per_kg)
            for _, row in sorted(rows.items())
            if row.price_per_kg is not None
        )


def prices(session: Session) -> dict[str, float]:
    """Folded name -> price for a kilogram."""
    return {name: row.price_per_kg for name, row in latest(session).items() if row.price_per_kg is not None}
