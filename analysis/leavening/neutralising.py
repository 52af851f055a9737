"""How much baking soda does 100 g of this neutralise, and how much water does it bring?

One small table over the acids of ``substances`` and the kitchen ingredients of
``ingredients``, for weighing the runs of a trial. Pure acids are *computed* from molar
masses, leavening salts and kitchen ingredients *tabulated* with their source; *rough* ones
are from memory. A kitchen's own measured value is always better and may take their place.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from analysis.leavening.ingredients import INGREDIENTS, Ingredient
from analysis.leavening.substances import SUBSTANCES

ValueSureness = Literal["computed", "tabulated", "rough"]


@dataclass(frozen=True, kw_only=True)
class Neutralising:
    """``soda_g``: g baking soda neutralised by 100 g. ``water_share``: g water in 1 g."""

    name: str
    soda_g: float
    water_share: float
    source: str
    sureness: ValueSureness

    def grams_for(self, soda_g: float) -> float:
        """g that neutralise ``soda_g`` of baking soda: 100 soda / NV."""
        return 100.0 * soda_g / self.soda_g


def folded(name: str) -> str:
    """A name as it is looked up: case and extra spaces do not matter."""
    return " ".join(name.split()).casefold()


def of_ingredient(item: Ingredient) -> Neutralising:
    """The row of a kitchen ingredient, at its typical acidity."""
    return Neutralising(
        name=item.name,
        soda_g=item.neutralising_value.typical,
        water_share=item.water,
        source=item.source,
        sureness="rough" if item.sureness == "C" else "tabulated",
    )


def _table() -> Mapping[str, Neutralising]:
    found: dict[str, Neutralising] = {}
    for substance in SUBSTANCES.values():
        value, kind = substance.neutralising_value, substance.nv_kind
        if value and kind:
            sureness: ValueSureness = "rough" if substance.sureness == "C" else kind
            row = Neutralising(
                name=substance.name, soda_g=value, water_share=0.0, source=substance.source, sureness=sureness
            )
            found |= {folded(name): row for name in (substance.name, *substance.aliases)}
    for item in INGREDIENTS.values():
        if item.neutralising_value.typical > 0:
            row = of_ingredient(item)
            found |= {folded(name): row for name in (item.name, *item.aliases)}
    # All grades of acid pyrophosphate have one neutralising value; they differ in speed.
    found |= {name: found["acid pyrophosphate 28"] for name in ("sapp", "sodium acid pyrophosphate")}
    return MappingProxyType(found)


NEUTRALISING: Mapping[str, Neutralising] = _table()  # keys are folded names


def water_share(name: str, table: Mapping[str, Neutralising] = NEUTRALISING) -> float:
    """g water in 1 g; 0 for what is not known to bring any."""
    known = table.get(folded(name))
    if known is not None:
        return known.water_share
    item = INGREDIENTS.get(folded(name))
    return item.water if item else 0.0
