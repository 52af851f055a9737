"""Which substance or ingredient is meant, and how much is a teaspoon of it?"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from types import MappingProxyType

from analysis.errors import TrialDataError
from analysis.leavening.batter import Amount
from analysis.leavening.ingredients import CUP_ML, INGREDIENTS, TABLESPOON_ML, TEASPOON_ML, Ingredient
from analysis.leavening.powder import compose_powder
from analysis.leavening.substances import SUBSTANCES, Substance

MASS_G: Mapping[str, float] = MappingProxyType({"g": 1.0, "kg": 1000.0, "mg": 0.001, "oz": 28.3495, "lb": 453.592})
VOLUME_ML: Mapping[str, float] = MappingProxyType(
    {"tsp": TEASPOON_ML, "tbsp": TABLESPOON_ML, "cup": CUP_ML, "cups": CUP_ML, "ml": 1.0, "l": 1000.0, "dl": 100.0}
)
POWDER_G_PER_TSP = 4.6  # food-composition portion, from memory

# Powders stand for their parts; shares are of the gas, 14 % available (common practice, no source).
POWDERS: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "baking powder": {"acid pyrophosphate 28": 0.6, "monocalcium phosphate": 0.4},
        "alum baking powder": {"sodium aluminium sulfate": 0.6, "monocalcium phosphate": 0.4},
        "tartrate baking powder": {"cream of tartar": 1.0},
    }
)
POWDER_AVAILABLE_CO2 = 14.0


def known_names() -> tuple[str, ...]:
    """Every name an amount may have, aliases included, in alphabetical order."""
    names = [*SUBSTANCES, *INGREDIENTS, *POWDERS]
    names += [alias for substance in SUBSTANCES.values() for alias in substance.aliases]
    names += [alias for ingredient in INGREDIENTS.values() for alias in ingredient.aliases]
    return tuple(sorted(names, key=str.casefold))


def find(name: str, own: Mapping[str, Substance | Ingredient] | None = None) -> Substance | Ingredient:
    """The substance or ingredient of that name or alias; ``own`` (a kitchen's values) come first.

    Raises TrialDataError with the nearest names.
    """
    wanted = " ".join(name.split()).casefold()
    for shelf in (own or {}, SUBSTANCES, INGREDIENTS):
        for key, item in shelf.items():
            if wanted == key.casefold() or wanted in (alias.casefold() for alias in item.aliases):
                return item
    near = difflib.get_close_matches(wanted, known_names(), n=3, cutoff=0.5)
    raise TrialDataError(
        f"Nothing is known of {name!r}.",
        where="amounts",
        try_this=f"did you mean {' or '.join(near)}? See crumbwise leaven acids for all names"
        if near
        else "see crumbwise leaven acids for all names",
    )


def grams_of(value: float, unit: str, name: str, item: Substance | Ingredient | None) -> float:
    """Grams of ``value`` ``unit`` of an item (None: a baking powder).

    Raises TrialDataError for an unknown unit or when the weight of a spoonful is not known.
    """
    key = unit if unit in MASS_G or unit in VOLUME_ML else unit.casefold()
    if key in MASS_G:
        return value * MASS_G[key]
    if key not in VOLUME_ML:
        raise TrialDataError(
            f"{unit!r} is no unit of an amount.",
            where=f"{value:g} {unit} {name}",
            try_this=f"one of {', '.join([*MASS_G, *VOLUME_ML])}",
        )
    millilitres = value * VOLUME_ML[key]
    if item is None:
        return millilitres / TEASPOON_ML * POWDER_G_PER_TSP
    if isinstance(item, Ingredient):
        if item.density is not None:
            return millilitres * item.density
    elif item.grams_per_tsp is not None:
        return millilitres / TEASPOON_ML * item.grams_per_tsp
    raise TrialDataError(
        f"What a spoonful of {name} weighs is not known.", where=f"{value:g} {unit} {name}", try_this="give it in g"
    )


def amounts_of(
    value: float, unit: str, name: str, own: Mapping[str, Substance | Ingredient] | None = None
) -> tuple[Amount, ...]:
    """What was named, as amounts; a baking powder becomes its parts."""
    wanted = " ".join(name.split()).casefold()
    if wanted in POWDERS and not (own and wanted in own):
        grams = grams_of(value, unit, name, None)
        if grams <= 0:
            return ()
        powder = compose_powder(POWDERS[wanted], available_co2=POWDER_AVAILABLE_CO2, mass_g=grams)
        return tuple(Amount(what=SUBSTANCES[part.ingredient], grams=part.grams) for part in powder.parts)
    item = find(name, own)
    return (Amount(what=item, grams=grams_of(value, unit, name, item)),)
