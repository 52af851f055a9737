"""How much gas, what is left over, and where does the pH land?

The acid-base account of a formula: by equivalence (what neutralises what) and by pH
(where the mixture really lands), with the range that the ingredients' spread leaves. It
is an aqueous model: flour, egg and sugar are left out, and the answer says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.errors import TrialDataError
from analysis.leavening.activity import TRUSTED_STRENGTH
from analysis.leavening.arrays import Array
from analysis.leavening.batter import Amount, Batter, make_batter
from analysis.leavening.cautions import Caution, cautions_of
from analysis.leavening.gas import STANDARD_KPA, boiling_point_c, gas_ml
from analysis.leavening.ingredients import Ingredient
from analysis.leavening.neutral import CRUMB_C, CRUMB_CO2_ATM, CRUMB_CO2_HIGH, CRUMB_CO2_LOW, ph_down_to, soda_for_ph
from analysis.leavening.speciation import Mixtures, Speciation, solve
from analysis.leavening.substances import CO2_MOLAR_MASS, SODA_MOLAR_MASS, Substance

DRAWS = 400
STRETCHED_PH = 0.3  # widening of the range when the activity model is stretched or solids fall out
OVEN_C = 95.0  # inside of a crumb, which stays below boiling


@dataclass(frozen=True, kw_only=True)
class Gas:
    """Carbon dioxide. ``available``: set free by acid (and all of ammonium bicarbonate);
    ``heat``: what the soda left over gives up in the oven besides, at most. Volumes at
    ``temperature_c`` and ``pressure_kpa``; ``free_cold_ml``: what leaves the cold batter
    for the bubbles, ``free_baked_ml``: at 95 °C, both from the charge balance."""

    available_mmol: float
    available_low_mmol: float
    available_high_mmol: float
    available_g: float
    available_ml: float
    heat_mmol: float
    free_cold_ml: float
    free_baked_ml: float
    other_gas_ml: float
    temperature_c: float
    pressure_kpa: float


@dataclass(frozen=True, kw_only=True)
class PhRange:
    """A pH and the range that holds nine in ten of the drawn mixtures."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class NeutralSoda:
    """Soda that uses up all acid, and soda that brings the crumb to ``target_ph``. They differ.

    ``by_ph_g`` is None when even no soda at all gives a higher pH.
    """

    by_equivalence_g: float
    low_g: float
    high_g: float
    by_ph_g: float | None
    target_ph: float


@dataclass(frozen=True, kw_only=True)
class Line:
    """One ingredient's part: ``acid_meq`` it brings, ``soda_g`` it holds (as baking soda)."""

    ingredient: str
    grams: float
    acid_meq: float
    soda_g: float
    source: str
    sureness: str


@dataclass(frozen=True, kw_only=True)
class Balance:
    """The whole account. Masses in g, acid in meq, sodium and aluminium in mg for each portion."""

    gas: Gas
    soda_g: float
    soda_left_g: float
    acid_meq: float
    acid_left_meq: float
    neutral_soda: NeutralSoda
    mixed_closed: PhRange
    mixed_open: PhRange
    baked: PhRange
    ionic_strength: float
    stretched: bool
    sodium_mg: float
    aluminium_mg: float
    portions: float
    lines: tuple[Line, ...]
    cautions: tuple[Caution, ...]


def balance(
    amounts: Sequence[Amount],
    *,
    celsius: float = 25.0,
    kilopascal: float = STANDARD_KPA,
    portions: float = 1.0,
    target_ph: float = 7.0,
    draws: int = DRAWS,
    seed: int = 1,
) -> Balance:
    """Account for ``amounts``; raises TrialDataError when there is no water or an amount is impossible."""
    if not 0 < portions < float("inf"):
        raise TrialDataError(f"{portions:g} portions cannot be.", where="portions", try_this="give one or more")
    batter = make_batter(amounts, celsius=celsius, stage="mixed", draws=draws, seed=seed)
    whole = make_batter(amounts, celsius=CRUMB_C, stage="baked", draws=draws, seed=seed)
    closed = solve(batter.mixtures)
    bubbling = _bubbling(batter.mixtures, closed, kilopascal / STANDARD_KPA)
    baked = _crumb(whole.mixtures, seed)
    stretched = float(bubbling.ionic_strength[0]) > TRUSTED_STRENGTH or any(
        isinstance(a.what, Substance) and not a.what.dissolves for a in amounts
    )
    widen = STRETCHED_PH if stretched else 0.0
    acid = batter.acid_meq
    soda = batter.soda_mmol
    account = Balance(
        gas=_gas(batter, whole, bubbling, kilopascal),
        soda_g=soda * SODA_MOLAR_MASS / 1000,
        soda_left_g=_left(soda, float(acid[0])) * SODA_MOLAR_MASS / 1000,
        acid_meq=float(acid[0]),
        acid_left_meq=_left(float(acid[0]), soda),
        neutral_soda=_neutral(amounts, acid, target_ph),
        mixed_closed=_range(closed.ph, widen),
        mixed_open=_range(bubbling.ph, widen),
        baked=_range(baked, widen),
        ionic_strength=float(bubbling.ionic_strength[0]),
        stretched=stretched,
        sodium_mg=_sodium_mg(amounts) / portions,
        aluminium_mg=sum(1000 * a.grams * a.what.aluminium_share for a in amounts if isinstance(a.what, Substance))
        / portions,
        portions=portions,
        lines=tuple(_line(amount) for amount in amounts),
        cautions=(),
    )
    return replace(account, cautions=cautions_of(account, amounts))


def _left(there: float, used: float) -> float:
    """What is left of ``there``; nothing when the two differ by rounding only."""
    return there - used if there - used > 1e-9 * there else 0.0


def _bubbling(mixtures: Mixtures, closed: Speciation, pressure_atm: float) -> Speciation:
    """Bubbles form only where the closed mixture would press harder than the air around it."""
    opened = solve(mixtures, case="open", co2_atm=pressure_atm)
    bubbles = closed.co2_atm > pressure_atm
    return Speciation(
        **{
            name: np.where(bubbles, getattr(opened, name), getattr(closed, name))
            for name in Speciation.__dataclass_fields__
        }
    )


def _crumb(mixtures: Mixtures, seed: int) -> Array:
    """pH of the cooled crumb (mixtures at 25 °C); row 0 at the usual carbon dioxide, the others drawn."""
    rows = len(mixtures)
    generator = np.random.Generator(np.random.PCG64([seed, 2]))
    left = 10 ** generator.uniform(np.log10(CRUMB_CO2_LOW), np.log10(CRUMB_CO2_HIGH), rows)
    left[0] = CRUMB_CO2_ATM
    return ph_down_to(mixtures, left)


def _gas(batter: Batter, whole: Batter, bubbling: Speciation, kilopascal: float) -> Gas:
    celsius = float(batter.mixtures.celsius[0])
    available = np.minimum(batter.soda_mmol, batter.acid_meq) + batter.ammonium_mmol
    nominal = float(available[0])
    heat = max(batter.soda_mmol - float(batter.acid_meq[0]), 0.0) / 2.0
    cold = _freed(batter.mixtures, bubbling) * batter.water_kg * 1000
    low, high = nine_in_ten(available)
    return Gas(
        available_mmol=nominal,
        available_low_mmol=min(low, nominal),
        available_high_mmol=max(high, nominal),
        available_g=nominal * CO2_MOLAR_MASS / 1000,
        available_ml=gas_ml(nominal, celsius=celsius, kilopascal=kilopascal),
        heat_mmol=heat,
        free_cold_ml=gas_ml(cold, celsius=celsius, kilopascal=kilopascal),
        free_baked_ml=gas_ml(
            _free_hot(whole, kilopascal) + batter.ammonium_mmol, celsius=OVEN_C, kilopascal=kilopascal
        ),
        other_gas_ml=gas_ml(batter.ammonium_mmol, celsius=OVEN_C, kilopascal=kilopascal),
        temperature_c=celsius,
        pressure_kpa=kilopascal,
    )


def _free_hot(batter: Batter, kilopascal: float) -> float:
    """mmol of carbon dioxide out of the water at 95 °C, where steam fills most of the bubbles."""
    celsius = min(OVEN_C, boiling_point_c(kilopascal) - 1.0)
    hot = replace(batter.mixtures.only(slice(0, 1)), celsius=np.array([celsius]))
    steam = steam_kpa(celsius)
    pressure = max(kilopascal - steam, 0.01 * kilopascal) / STANDARD_KPA
    found = _bubbling(hot, solve(hot), pressure)
    return _freed(hot, found) * batter.water_kg * 1000


def _freed(mixtures: Mixtures, found: Speciation) -> float:
    """mol of carbon dioxide that left a kilogram of water of the typical mixture."""
    carbon = float(mixtures.carbon[0])
    return _left(carbon, float(found.carbon_dissolved[0]))


def steam_kpa(celsius: float) -> float:
    """Vapour pressure of water: the Antoine equation of ``gas.boiling_point_c`` turned round."""
    return 10 ** (8.07131 - 1730.63 / (celsius + 233.426)) * STANDARD_KPA / 760.0


def _neutral(amounts: Sequence[Amount], acid_meq: Array, target_ph: float) -> NeutralSoda:
    grams = acid_meq * SODA_MOLAR_MASS / 1000
    low, high = nine_in_ten(grams)
    nominal = float(grams[0])
    return NeutralSoda(
        by_equivalence_g=nominal,
        low_g=min(low, nominal),
        high_g=max(high, nominal),
        by_ph_g=soda_for_ph(amounts, target_ph),
        target_ph=target_ph,
    )


def _range(ph: Array, widen: float) -> PhRange:
    value = float(ph[0])
    low, high = nine_in_ten(ph)
    return PhRange(value=value, low=min(low, value) - widen, high=max(high, value) + widen)


def nine_in_ten(drawn: Array) -> tuple[float, float]:
    """The 5 % and 95 % quantiles, linear between neighbours as NumPy's own.

    Spelled out, because NumPy's loads its masked arrays first, which takes as long as the account.
    """
    ordered = np.sort(drawn)
    place = np.array([0.05, 0.95]) * (len(ordered) - 1)
    low, high = np.interp(place, np.arange(len(ordered)), ordered)
    return float(low), float(high)


def _sodium_mg(amounts: Sequence[Amount]) -> float:
    total = 0.0
    for amount in amounts:
        if isinstance(amount.what, Substance):
            total += 1000 * amount.grams * amount.what.sodium_share
        else:
            total += amount.grams / 100 * amount.what.sodium_mg
    return total


def _line(amount: Amount) -> Line:
    what = amount.what
    if isinstance(what, Ingredient):
        meq, soda = what.acidity.typical * amount.grams / 100, 0.0
    else:
        equivalent = what.equivalent_mass
        meq = 0.0 if equivalent is None else 1000 * amount.grams / equivalent
        soda = what.carbon * amount.grams / what.molar_mass * SODA_MOLAR_MASS
    return Line(
        ingredient=what.name,
        grams=amount.grams,
        acid_meq=meq,
        soda_g=soda,
        source=what.source,
        sureness=what.sureness,
    )
