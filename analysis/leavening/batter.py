"""What do these amounts put into a kilogram of water?

Turns grams of substances and kitchen ingredients into acid systems, carbon and fixed
ions. An ingredient is described by two measurements, its acidity to pH 8.2 and its pH:
the total of its buffer is what lies between the two, its fixed charge what makes its own
pH come out. With ``draws`` above zero, rows 1… hold ingredients drawn from their spread
(row 0 is the typical one).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.errors import TrialDataError
from analysis.leavening.activity import ACTIVITY_MODELS
from analysis.leavening.arrays import Array
from analysis.leavening.constants import ACIDS, STANDARD_K, WATER, debye_huckel_a, pk_at
from analysis.leavening.ingredients import Ingredient, Spread
from analysis.leavening.release import RELEASE
from analysis.leavening.speciation import Mixtures
from analysis.leavening.substances import Substance

Stage = Literal["mixed", "baked"]
TITRATION_END_PH = 8.2
TYPICAL_STRENGTH = 0.1  # mol/kg: where ingredients are titrated
HALF_RANGE_SDS = 1.6449  # a Spread holds nine in ten: its ends lie 1.64 SD from the middle


@dataclass(frozen=True, kw_only=True)
class Amount:
    """So many grams of a substance or an ingredient."""

    what: Substance | Ingredient
    grams: float

    @property
    def name(self) -> str:
        return self.what.name


@dataclass(frozen=True, kw_only=True)
class Batter:
    """The mixture in the water (arrays of shape (n,)), and the acid account in mmol.

    ``acid_meq`` is shape (n,); ``soda_mmol`` counts bicarbonate of sodium and potassium,
    ``ammonium_mmol`` that of ammonium.
    """

    mixtures: Mixtures
    water_kg: float
    acid_meq: Array
    soda_mmol: float
    ammonium_mmol: float


def make_batter(
    amounts: Sequence[Amount], *, celsius: float, stage: Stage = "baked", draws: int = 0, seed: int = 1
) -> Batter:
    """Dissolve ``amounts``. At stage "mixed" an acid that waits for the oven counts only with the
    share that acts cold; at stage "baked" all acids act and ammonium bicarbonate is gone.

    The acid account (``acid_meq``) is that of the whole amounts at either stage. Raises
    TrialDataError for negative amounts or when nothing brings water.
    """
    for amount in amounts:
        if not np.isfinite(amount.grams) or amount.grams < 0:
            raise TrialDataError(
                f"{amount.grams:g} g is no amount.", where=amount.name, try_this="give grams of zero or more"
            )
    water_kg = sum(a.grams * a.what.water for a in amounts if isinstance(a.what, Ingredient)) / 1000.0
    if water_kg <= 0:
        raise TrialDataError(
            "There is no water in this mixture, so nothing dissolves and no pH can be worked out.",
            where=", ".join(amount.name for amount in amounts) or "an empty list",
            try_this='add the liquid, for example "100 g water"',
        )
    rows = 1 + draws
    generator = np.random.Generator(np.random.PCG64(seed))
    acids: dict[str, Array] = {}
    carbon, charge, strength, acid_meq = (np.zeros(rows) for _ in range(4))
    soda_mmol = ammonium_mmol = 0.0
    for amount in amounts:
        if isinstance(amount.what, Substance):
            moles = amount.grams / amount.what.molar_mass / water_kg
            if amount.what.ammonia and amount.what.carbon:
                ammonium_mmol += 1000 * amount.what.carbon * moles * water_kg
                if stage == "baked":
                    continue
            else:
                soda_mmol += 1000 * amount.what.carbon * moles * water_kg
            equivalent = amount.what.equivalent_mass
            if equivalent is not None:
                acid_meq += 1000 * amount.grams / equivalent
            if stage == "mixed" and amount.what.release is not None:
                moles *= RELEASE[amount.what.release].cold
            for system, count in amount.what.acids.items():
                acids[system] = acids.get(system, np.zeros(rows)) + count * moles
            carbon += amount.what.carbon * moles
            charge += amount.what.fixed_charge * moles
            strength += amount.what.fixed_strength * moles
        else:
            drawn = _draw(amount.what, rows, generator)
            acid_meq += drawn.acidity * amount.grams / 100.0
            per_kg = amount.grams / 100.0 / 1000.0 / water_kg  # meq in 100 g -> mol/kg water
            for system, share in amount.what.buffer.items():
                acids[system] = acids.get(system, np.zeros(rows)) + share * drawn.total * per_kg
            charge += drawn.charge * per_kg
            strength += np.abs(drawn.charge) * per_kg
    mixtures = Mixtures(
        acids=acids, carbon=carbon, fixed_charge=charge, fixed_strength=strength, celsius=np.full(rows, float(celsius))
    )
    return Batter(
        mixtures=mixtures,
        water_kg=water_kg,
        acid_meq=acid_meq,
        soda_mmol=soda_mmol,
        ammonium_mmol=ammonium_mmol,
    )


@dataclass(frozen=True)
class _Drawn:
    """mmol in 100 g: acid to pH 8.2, total buffer, fixed charge."""

    acidity: Array
    total: Array
    charge: Array


def _draw(ingredient: Ingredient, rows: int, generator: np.random.Generator) -> _Drawn:
    acidity = _spread_values(ingredient.acidity, rows, generator)
    ph = _spread_values(ingredient.ph, rows, generator)
    if not ingredient.buffer:
        return _Drawn(acidity, np.zeros(rows), np.zeros(rows))
    systems = tuple(ingredient.buffer.items())
    at_ph = sum(share * _mean_charge(system, ph) for system, share in systems)
    at_end = sum(share * _mean_charge(system, np.array([TITRATION_END_PH])) for system, share in systems)
    # What the water itself gives up: hydrogen ions of the ingredient's own water, mmol in 100 g.
    free = 100.0 * ingredient.water * (10.0**-ph - 10.0 ** (ph - WATER.pk[0]))
    total = np.maximum(acidity - free, 0.0) / np.maximum(at_ph - at_end, 1e-6)
    return _Drawn(acidity, total, -total * at_ph - free)


def _spread_values(spread: Spread, rows: int, generator: np.random.Generator) -> Array:
    """Two half-normals that meet at the typical value, cut at zero; row 0 is the typical one."""
    deviate = generator.standard_normal(rows)
    deviate[0] = 0.0
    below, above = (spread.typical - spread.low) / HALF_RANGE_SDS, (spread.high - spread.typical) / HALF_RANGE_SDS
    return np.maximum(spread.typical + np.where(deviate < 0, below, above) * deviate, 0.0)


def _mean_charge(system: str, ph: Array) -> Array:
    """Mean charge of a system at a pH, 25 °C and the ionic strength of a titration."""
    acid = ACIDS[system]
    steps = len(acid.pk)
    log_beta = np.concatenate([[0.0], -np.cumsum(pk_at(acid, np.array([STANDARD_K]))[0])])
    charge = acid.charge - np.arange(steps + 1)
    strength = np.array([TYPICAL_STRENGTH])
    log_gamma = -debye_huckel_a(np.array([STANDARD_K])) * ACTIVITY_MODELS["davies"].shield(strength) * charge**2
    exponent = log_beta + np.arange(steps + 1) * np.asarray(ph)[:, None] - log_gamma
    weight = 10.0 ** (exponent - exponent.max(axis=1, keepdims=True))
    return (weight * charge).sum(axis=1) / weight.sum(axis=1)
