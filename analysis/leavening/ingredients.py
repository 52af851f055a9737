"""How sour is the buttermilk, and how much does that vary?

Kitchen ingredients by titratable acidity (meq acid in 100 g, to pH 8.2), pH, water and
the weight of kitchen measures. Each figure is a range ``Spread(low, typical, high)``:
two bottles of one name differ, and the answer has to say so. Sureness C means rough, an
editable default; a kitchen's own measured value is always better.

Conversions: % as lactic x 11.10, acetic x 16.65, citric x 15.61, malic x 14.92, tartaric
x 13.33 = meq in 100 g.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from analysis.leavening.substances import SODA_MOLAR_MASS, Sureness

CUP_ML, TABLESPOON_ML, TEASPOON_ML = 236.588, 14.787, 4.929  # US measures


@dataclass(frozen=True)
class Spread:
    """A figure that varies from bottle to bottle: the range holds about nine in ten."""

    low: float
    typical: float
    high: float

    def scaled(self, factor: float) -> Spread:
        return Spread(self.low * factor, self.typical * factor, self.high * factor)


@dataclass(frozen=True, kw_only=True)
class Ingredient:
    """``acidity``: meq in 100 g to pH 8.2. ``buffer``: which acid systems carry it, as shares.

    ``water``: g water in 1 g. ``density``: g/mL as spooned or poured. ``sodium_mg``: in 100 g.
    """

    name: str
    acidity: Spread
    ph: Spread
    buffer: Mapping[str, float] = field(default_factory=dict)
    water: float = 0.0
    density: float | None = None
    sodium_mg: float = 0.0
    source: str = ""
    sureness: Sureness = "B"
    aliases: tuple[str, ...] = ()

    @property
    def neutralising_value(self) -> Spread:
        """g soda neutralised by 100 g, by titration to pH 8.2."""
        return self.acidity.scaled(SODA_MOLAR_MASS / 1000.0)


def measured(
    name: str, neutralising_value: float, water: float | None, ph: float = 4.5, density: float | None = None
) -> Ingredient:
    """An ingredient as a kitchen measured it: g soda that 100 g neutralise, g water in 1 g, g/mL.

    Its acid is taken to be that of cultured milk, of which most such measurements are made.
    """
    acidity = 1000.0 * neutralising_value / SODA_MOLAR_MASS
    return Ingredient(
        name=name,
        acidity=Spread(acidity, acidity, acidity),
        ph=Spread(ph, ph, ph),
        buffer=_DAIRY,
        water=0.9 if water is None else water,
        density=density,
        source="measured in this kitchen",
        sureness="A",
    )


_DAIRY = {"lactic": 0.6, "phosphoric": 0.3, "citric": 0.1}
_LACTIC, _ACETIC, _CITRIC, _MALIC, _TARTARIC = 11.10, 16.65, 15.61, 14.92, 13.33


def _percent(low: float, typical: float, high: float, meq: float) -> Spread:
    return Spread(low, typical, high).scaled(meq)


def _grams_per_litre(low: float, typical: float, high: float, meq: float, density: float) -> Spread:
    return Spread(low, typical, high).scaled(meq / 10.0 / density)


_LIST = (
    Ingredient(name="water", acidity=Spread(0, 0, 0), ph=Spread(6.5, 7.0, 8.0), water=1.0, density=1.0, sureness="A"),
    Ingredient(
        name="vinegar",
        acidity=_grams_per_litre(40, 50, 60, _ACETIC, 1.006),
        ph=Spread(2.4, 2.9, 3.4),
        buffer={"acetic": 1.0},
        water=0.95,
        density=1.006,
        source="5 g acetic acid in 100 mL; at least 4 % in the USA",
        sureness="A",
        aliases=("white vinegar", "vinegar 5 %"),
    ),
    Ingredient(
        name="lemon juice",
        acidity=_grams_per_litre(41.7, 48.0, 54.3, _CITRIC, 1.03),
        ph=Spread(2.0, 2.3, 2.6),
        buffer={"citric": 1.0},
        water=0.91,
        density=1.03,
        source="48.0 g citric/L, SD 3.8: Penniston et al. 2008, J. Endourol.",
        sureness="A",
    ),
    Ingredient(
        name="bottled lemon juice",
        acidity=_grams_per_litre(34.0, 36.5, 39.0, _CITRIC, 1.03),
        ph=Spread(2.2, 2.4, 2.6),
        buffer={"citric": 1.0},
        water=0.92,
        density=1.03,
        source="34 to 39 g citric/L: Penniston et al. 2008, J. Endourol.",
        sureness="B",
    ),
    Ingredient(
        name="lime juice",
        acidity=_grams_per_litre(34.4, 45.8, 57.2, _CITRIC, 1.03),
        ph=Spread(2.0, 2.2, 2.35),
        buffer={"citric": 1.0},
        water=0.91,
        density=1.03,
        source="45.8 g citric/L, SD 6.9: Penniston et al. 2008, J. Endourol.",
        sureness="A",
    ),
    Ingredient(
        name="orange juice",
        acidity=_grams_per_litre(5.8, 9.1, 16.9, _CITRIC, 1.04),
        ph=Spread(3.3, 3.7, 4.2),
        buffer={"citric": 0.85, "malic": 0.15},
        water=0.88,
        density=1.04,
        source="fresh 9.1 g citric/L, ready to drink 16.7 to 16.9: Penniston et al. 2008, J. Endourol.",
        sureness="B",
    ),
    Ingredient(
        name="grapefruit juice",
        acidity=_grams_per_litre(20.0, 25.0, 30.0, _CITRIC, 1.04),
        ph=Spread(3.0, 3.3, 3.75),
        buffer={"citric": 1.0},
        water=0.90,
        density=1.04,
        source="25.0 g citric/L: Penniston et al. 2008, J. Endourol.",
        sureness="B",
    ),
    Ingredient(
        name="apple juice",
        acidity=_percent(0.3, 0.5, 0.7, _MALIC),
        ph=Spread(3.35, 3.6, 4.0),
        buffer={"malic": 1.0},
        water=0.88,
        density=1.04,
        source="0.3 to 0.7 % malic, from memory; pH from the FDA list",
        sureness="B",
    ),
    Ingredient(
        name="buttermilk",
        acidity=_percent(0.7, 0.8, 0.9, _LACTIC),
        ph=Spread(4.4, 4.5, 4.8),
        buffer=_DAIRY,
        water=0.90,
        density=245 / CUP_ML,
        sodium_mg=105.0,
        source="0.7 to 0.9 % as lactic (at least 0.5 %: 21 CFR 131.112)",
        sureness="B",
        aliases=("cultured buttermilk",),
    ),
    Ingredient(
        name="yogurt",
        acidity=_percent(0.9, 1.0, 1.2, _LACTIC),
        ph=Spread(4.0, 4.3, 4.6),
        buffer=_DAIRY,
        water=0.87,
        density=245 / CUP_ML,
        sodium_mg=50.0,
        source="at least 0.9 % as lactic: 21 CFR 131.200",
        sureness="A",
        aliases=("yoghurt",),
    ),
    Ingredient(
        name="sour cream",
        acidity=_percent(0.7, 0.8, 0.9, _LACTIC),
        ph=Spread(4.4, 4.6, 4.8),
        buffer=_DAIRY,
        water=0.73,
        density=230 / CUP_ML,
        sodium_mg=40.0,
        source="at least 0.5 % as lactic: 21 CFR 131.160",
        sureness="A",
    ),
    Ingredient(
        name="milk",
        acidity=_percent(0.13, 0.15, 0.17, _LACTIC),
        ph=Spread(6.5, 6.6, 6.7),
        buffer={"phosphoric": 0.8, "citric": 0.2},
        water=0.88,
        density=245 / CUP_ML,
        sodium_mg=43.0,
        source="0.13 to 0.17 % as lactic, from memory; buffering rather than acid",
        sureness="A",
    ),
    Ingredient(
        name="honey",
        acidity=Spread(1.3, 2.4, 5.0),
        ph=Spread(3.4, 3.9, 6.1),
        buffer={"gluconic": 1.0},
        water=0.17,
        density=339 / CUP_ML,
        source="free acidity 13 to 35 meq/kg, at most 50 in the EU",
        sureness="A",
    ),
    Ingredient(
        name="molasses",
        acidity=Spread(2.0, 4.0, 6.0),
        ph=Spread(4.9, 5.3, 6.0),
        buffer={"lactic": 0.5, "phosphoric": 0.5},
        water=0.22,
        density=337 / CUP_ML,
        sodium_mg=37.0,
        source="from memory, varies much",
        sureness="C",
    ),
    Ingredient(
        name="brown sugar",
        acidity=Spread(0.1, 0.3, 0.5),
        ph=Spread(5.0, 5.8, 6.5),
        buffer={"lactic": 0.5, "phosphoric": 0.5},
        water=0.02,
        density=217 / CUP_ML,
        sodium_mg=28.0,
        source="from memory, rough",
        sureness="C",
    ),
    Ingredient(
        name="cocoa",
        acidity=Spread(10.0, 15.0, 20.0),
        ph=Spread(5.3, 5.5, 5.8),
        buffer={"citric": 0.5, "phosphoric": 0.5},
        water=0.03,
        density=84 / CUP_ML,
        sodium_mg=20.0,
        source="pH: Miller et al. 2008, J. Agric. Food Chem. 56, 8527; acidity from memory",
        sureness="C",
        aliases=("natural cocoa",),
    ),
    Ingredient(
        name="alkalised cocoa",
        acidity=Spread(0.0, 2.0, 5.0),
        ph=Spread(6.5, 7.2, 7.6),
        buffer={"phosphoric": 1.0},
        water=0.03,
        density=84 / CUP_ML,
        sodium_mg=20.0,
        source="pH: Miller et al. 2008, J. Agric. Food Chem. 56, 8527; acidity from memory, may be a little alkaline",
        sureness="C",
        aliases=("Dutched cocoa",),
    ),
    Ingredient(
        name="banana",
        acidity=_percent(0.2, 0.3, 0.4, _MALIC),
        ph=Spread(4.5, 4.8, 5.2),
        buffer={"malic": 1.0},
        water=0.75,
        density=0.95,
        source="0.2 to 0.4 % malic, from memory; pH from the FDA list",
        sureness="B",
    ),
    Ingredient(
        name="pumpkin",
        acidity=_percent(0.05, 0.1, 0.15, _CITRIC),
        ph=Spread(4.99, 5.2, 5.5),
        buffer={"citric": 1.0},
        water=0.90,
        density=1.03,
        source="about 0.1 % citric, from memory; pH from the FDA list",
        sureness="B",
    ),
    Ingredient(
        name="coffee",
        acidity=Spread(0.7, 1.1, 1.5),
        ph=Spread(4.8, 5.0, 5.3),
        buffer={"lactic": 0.5, "phosphoric": 0.5},
        water=0.99,
        density=1.0,
        source="from memory, rough",
        sureness="C",
    ),
    Ingredient(
        name="wine",
        acidity=_percent(0.6, 0.65, 0.7, _TARTARIC),
        ph=Spread(3.3, 3.5, 3.7),
        buffer={"tartaric": 1.0},
        water=0.87,
        density=0.99,
        source="0.6 to 0.7 g tartaric in 100 mL",
        sureness="B",
    ),
    Ingredient(
        name="beer",
        acidity=_percent(0.1, 0.15, 0.2, _LACTIC),
        ph=Spread(4.0, 4.3, 4.6),
        buffer={"lactic": 0.7, "phosphoric": 0.3},
        water=0.93,
        density=1.01,
        source="0.1 to 0.2 % as lactic, from memory",
        sureness="B",
    ),
)

INGREDIENTS: Mapping[str, Ingredient] = MappingProxyType({ingredient.name: ingredient for ingredient in _LIST})
