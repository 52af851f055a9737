"""Which substance or ingredient is meant, and how much is a teaspoon of it?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from analysis.errors import TrialDataError
from analysis.leavening.batter import Amount
from analysis.leavening.ingredients import INGREDIENTS, TEASPOON_ML, Ingredient
from analysis.leavening.substances import SUBSTANCES, Substance

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
    import difflib  # only a misspelt name needs it

    near = difflib.get_close_matches(wanted, known_names(), n=3, cutoff=0.5)
    raise TrialDataError(
        f"Nothing is known of {name!r}.",
        where="amounts",
        try_this=f"did you mean {' or '.join(near)}? See crumbwise leaven acids for all names"
        if near
        else "see crumbwise leaven acids for all names",
    )


def weighed(
    name: str,
    *,
    grams: float | None = None,
    millilitres: float | None = None,
    own: Mapping[str, Substance | Ingredient] | None = None,
) -> tuple[Amount, ...]:
    """So much of what was named, as amounts; a baking powder becomes its parts.

    Give ``grams`` or ``millilitres``. Raises TrialDataError for an unknown name or when the
    weight of a spoonful is not known.
    """
    wanted = " ".join(name.split()).casefold()
    if wanted in POWDERS and not (own and wanted in own):
        mass = grams if grams is not None else (millilitres or 0.0) / TEASPOON_ML * POWDER_G_PER_TSP
        if mass <= 0:
            return ()
        from analysis.leavening.powder import compose_powder  # here, because a balance of soda does without it

        powder = compose_powder(POWDERS[wanted], available_co2=POWDER_AVAILABLE_CO2, mass_g=mass)
        return tuple(Amount(what=SUBSTANCES[part.ingredient], grams=part.grams) for part in powder.parts)
    item = find(name, own)
    return (Amount(what=item, grams=grams if grams is not None else spooned_g(millilitres or 0.0, item)),)


def known_amounts(
    weights: Iterable[tuple[str, float]], own: Mapping[str, Substance | Ingredient] | None = None
) -> tuple[list[Amount], tuple[str, ...]]:
    """Amounts of what is known among (name, grams), and the names nothing is known of."""
    known: list[Amount] = []
    left_out: list[str] = []
    for name, grams in weights:
        try:
            known += weighed(name, grams=grams, own=own)
        except TrialDataError:
            left_out.append(name)
    return known, tuple(left_out)


def spooned_g(millilitres: float, item: Substance | Ingredient) -> float:
    """Grams of a volume. Raises TrialDataError when what a spoonful weighs is not known."""
    if isinstance(item, Ingredient):
        if item.density is not None:
            return millilitres * item.density
    elif item.grams_per_tsp is not None:
        return millilitres / TEASPOON_ML * item.grams_per_tsp
    raise TrialDataError(
        f"What a spoonful of {item.name} weighs is not known.", where=item.name, try_this=f'"5 g {item.name}"'
    )
