"""Where does the pH of a mixture land, and how much carbon dioxide stays dissolved?

Charge balance over every acid system at once, with activities corrected for an ionic
strength that is iterated to rest. Many mixtures are solved in one call as arrays.
Carbon dioxide may be kept (``closed``), share a gas space (``headspace``), stand
against a fixed pressure (``open``) or be driven off (``stripped``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from analysis.errors import NotPossible, TrialDataError
from analysis.leavening.activity import ACTIVITY_MODELS, ActivityModel
from analysis.leavening.arrays import Array
from analysis.leavening.constants import (
    ACIDS,
    ATMOSPHERE_PA,
    GAS_CONSTANT,
    WATER,
    ZERO_CELSIUS_K,
    carbonic_pk,
    co2_solubility,
    debye_huckel_a,
    pk_at,
)
from analysis.leavening.species import LN10, stacked, ten_to

if TYPE_CHECKING:
    from numpy.typing import NDArray

Case = Literal["closed", "headspace", "open", "stripped"]
LOWEST_PH, HIGHEST_PH = -2.0, 16.0
PH_TOLERANCE = 1e-11
STRENGTH_TOLERANCE = 1e-11
MOST_ROUNDS = 100


@dataclass(frozen=True, kw_only=True)
class Mixtures:
    """n mixtures per kilogram of water; every array has shape (n,).

    ``acids``: total of each system in mol/kg (names of ``constants.ACIDS``), counted
    whatever form it was added in. ``carbon``: total inorganic carbon, mol/kg.
    ``fixed_charge``: sum of z m over ions that take no part (sodium, potassium …),
    ``fixed_strength``: sum of z² m over the same. ``celsius``: 0 to 100.
    """

    acids: Mapping[str, Array]
    carbon: Array
    fixed_charge: Array
    fixed_strength: Array
    celsius: Array

    def __len__(self) -> int:
        return len(self.carbon)

    def only(self, rows: slice | NDArray[np.bool_]) -> Mixtures:
        """Those mixtures of them."""
        return Mixtures(
            acids={name: total[rows] for name, total in self.acids.items()},
            carbon=self.carbon[rows],
            fixed_charge=self.fixed_charge[rows],
            fixed_strength=self.fixed_strength[rows],
            celsius=self.celsius[rows],
        )


@dataclass(frozen=True, kw_only=True)
class Speciation:
    """The solved mixtures; every array has shape (n,).

    ``carbon_dissolved`` and ``carbon_gas`` in mol/kg (gas is what left the water; negative
    when an open mixture took some up), ``co2_atm`` the pressure of carbon dioxide in
    equilibrium with the water, ``charge_left`` what the balance misses, mol/kg.
    """

    ph: Array
    ionic_strength: Array
    carbon_dissolved: Array
    carbon_gas: Array
    co2_atm: Array
    charge_left: Array


def solve(
    mixtures: Mixtures,
    *,
    case: Case = "closed",
    co2_atm: float | Array = 1.0,
    headspace_l: float | Array = 0.0,
    activity: str = "davies",
) -> Speciation:
    """Solve the charge balance of every mixture.

    ``co2_atm`` is used by case ``open``; ``headspace_l`` (litres of gas space for each kg of
    water, holding no carbon dioxide at first) by case ``headspace``. Raises TrialDataError
    for impossible input and NotPossible when no pH between -2 and 16 balances the charges.
    """
    _require_sound(mixtures, activity)
    count = len(mixtures)
    kelvin = np.asarray(mixtures.celsius, dtype=float) + ZERO_CELSIUS_K
    gas = _GasRule(
        case=case,
        solubility=co2_solubility(kelvin),
        co2_atm=np.broadcast_to(np.asarray(co2_atm, dtype=float), (count,)),
        litres=np.broadcast_to(np.asarray(headspace_l, dtype=float), (count,)),
        kelvin=kelvin,
    )
    balance = _Balance(mixtures, kelvin, gas, ACTIVITY_MODELS[activity])
    with np.errstate(all="ignore"):  # what runs over is found by its charges and refused in words
        return balance.solved()


@dataclass(frozen=True)
class _GasRule:
    case: Case
    solubility: Array
    co2_atm: Array
    litres: Array
    kelvin: Array

    def held_in_gas(self) -> Array:
        """mol of gas for each mol/kg of dissolved CO2 activity (headspace only)."""
        if self.case != "headspace":
            return np.zeros_like(self.solubility)
        cubic_metres = self.litres / 1000.0
        return cubic_metres * ATMOSPHERE_PA / (GAS_CONSTANT * self.kelvin * self.solubility)


class _Balance:
    """Charge as a falling function of pH, and the search for its zero."""

    def __init__(self, mixtures: Mixtures, kelvin: Array, gas: _GasRule, model: ActivityModel) -> None:
        self.mixtures = mixtures
        self.gas = gas
        self.model = model
        self.a = debye_huckel_a(kelvin)
        self.pkw = pk_at(WATER, kelvin)[:, 0]
        carbonic = carbonic_pk(kelvin)
        self.carbon_log_beta = np.stack([-carbonic[:, 0], -carbonic.sum(axis=1)])
        self.systems = stacked(mixtures.acids, kelvin)

    def solved(self) -> Speciation:
        ph = self._first_ph()
        strength = np.maximum(0.5 * self.mixtures.fixed_strength, 1e-7)
        moved = np.inf
        for _ in range(MOST_ROUNDS):
            # No use in a finer pH than the ionic strength it was found at.
            ph, new_strength = self._ph_at(strength, start=ph, tolerance=max(PH_TOLERANCE, 0.01 * min(moved, 0.1)))
            previous, moved = moved, float(np.max(np.abs(new_strength - strength), initial=0.0))
            # Far above its range the activity model can make the iteration swing: halve the step then.
            strength = new_strength if moved < 0.5 * previous else 0.5 * (strength + new_strength)
            if moved < STRENGTH_TOLERANCE:
                break
        charge, _, _, carbon = self._at(ph, strength)
        self._require_balanced(ph, charge, strength)
        return self._answer(ph, strength, charge, carbon)

    def _first_ph(self) -> Array:
        """Where the search begins: at 7, or, with carbon dioxide held, where bicarbonate alone meets the fixed charge.

        Bicarbonate grows tenfold with each pH there, and Newton's method comes down such a
        slope well but overshoots up it.
        """
        if self.gas.case != "open":
            return np.full(len(self.mixtures), 7.0)
        held = self.gas.solubility * np.maximum(self.gas.co2_atm, 1e-30)
        charge = np.maximum(self.mixtures.fixed_charge, 1e-30)
        return np.clip(np.log10(charge / held) - self.carbon_log_beta[0], 4.0, 10.0)

    def _ph_at(self, strength: Array, *, start: Array, tolerance: float) -> tuple[Array, Array]:
        """The pH that balances the charges at a fixed ionic strength, and the strength it makes.

        Newton's method, kept inside a bracket: the balance falls with pH, so its sign
        tells on which side the zero lies.
        """
        ph = start
        low, high = np.full_like(ph, LOWEST_PH), np.full_like(ph, HIGHEST_PH)
        for _ in range(MOST_ROUNDS):
            charge, slope, new_strength, _ = self._at(ph, strength)
            low = np.where(charge >= 0, ph, low)
            high = np.where(charge <= 0, ph, high)
            newton = ph - charge / np.where(slope < 0, slope, -1e-30)
            inside = (newton >= low) & (newton <= high)
            new_ph = np.where(inside, newton, 0.5 * (low + high))
            step = float(np.max(np.abs(new_ph - ph), initial=0.0))
            ph = new_ph
            if step < tolerance:
                break
        return ph, new_strength

    def _at(self, ph: Array, strength: Array) -> tuple[Array, Array, Array, Array]:
        """Charge, its slope against pH, ionic strength and carbon species at a trial pH."""
        shield = self.a * self.model.shield(strength)
        neutral = self.model.neutral(strength)
        log_gamma_one = -shield
        hydrogen = ten_to(-ph - log_gamma_one)
        hydroxide = ten_to(ph - self.pkw - log_gamma_one)
        charge = self.mixtures.fixed_charge + hydrogen - hydroxide
        slope = -LN10 * (hydrogen + hydroxide)
        twice_strength = self.mixtures.fixed_strength + hydrogen + hydroxide

        total, z = self.systems.totals, self.systems.charge
        share = self._shares(ph, shield, neutral)
        charged = share * z
        mean, mean_square = charged.sum(axis=1), (charged * z).sum(axis=1)
        charge = charge + (total * mean).sum(axis=0)
        slope = slope - LN10 * (total * (mean_square - mean**2)).sum(axis=0)
        twice_strength = twice_strength + (total * mean_square).sum(axis=0)

        carbon, carbon_slope = self._carbon(ph, shield, neutral)
        charge = charge - carbon[1] - 2 * carbon[2]
        slope = slope + carbon_slope
        twice_strength = twice_strength + carbon[1] + 4 * carbon[2]
        return charge, slope, 0.5 * twice_strength, carbon

    def _shares(self, ph: Array, shield: Array, neutral: Array) -> Array:
        """Share of each species in its system, shape (s, k, n)."""
        z = self.systems.charge
        gamma = np.where(z == 0, neutral, -shield * z**2)
        exponent = self.systems.log_beta + self.systems.lost * ph - gamma
        weight = ten_to(exponent - exponent.max(axis=1, keepdims=True))
        return weight / weight.sum(axis=1, keepdims=True)

    def _carbon(self, ph: Array, shield: Array, neutral: Array) -> tuple[Array, Array]:
        """mol/kg of CO2, HCO3- and CO3-- (3, n) and the slope of their charge."""
        if self.gas.case == "stripped":
            return np.zeros((3, len(ph))), np.zeros_like(ph)
        once = ten_to(np.minimum(self.carbon_log_beta[0] + ph + neutral + shield, 300.0))
        twice = ten_to(np.minimum(self.carbon_log_beta[1] + 2 * ph + neutral + 4 * shield, 300.0))
        if self.gas.case == "open":
            free = self.gas.solubility * self.gas.co2_atm / ten_to(neutral)
            carbon = np.stack([free, free * once, free * twice])
            return carbon, -LN10 * (carbon[1] + 4 * carbon[2])
        in_gas = self.gas.held_in_gas() * ten_to(neutral)
        free = self.mixtures.carbon / (1.0 + once + twice + in_gas)
        carbon = np.stack([free, free * once, free * twice])
        # Carbon in the gas counts as uncharged in the variance of the charge.
        total = np.maximum(self.mixtures.carbon, 1e-300)
        mean = (carbon[1] + 2 * carbon[2]) / total
        return carbon, -LN10 * (carbon[1] + 4 * carbon[2] - total * mean**2)

    def _require_balanced(self, ph: Array, charge: Array, strength: Array) -> None:
        scale = 1e-6 + np.abs(self.mixtures.fixed_charge) + strength
        wrong = ~np.isfinite(ph) | ~(np.abs(charge) <= 1e-7 * scale)
        if wrong.any():
            first = int(np.argmax(wrong))
            raise NotPossible(
                "No pH between -2 and 16 balances the charges of this mixture.",
                where=f"mixture {first + 1}",
                try_this="check the amounts: no water holds that much; give less of it or more water",
            )

    def _answer(self, ph: Array, strength: Array, charge: Array, carbon: Array) -> Speciation:
        dissolved = carbon.sum(axis=0)
        pressure = carbon[0] * ten_to(self.model.neutral(strength)) / self.gas.solubility
        return Speciation(
            ph=ph,
            ionic_strength=strength,
            carbon_dissolved=dissolved,
            carbon_gas=np.asarray(self.mixtures.carbon, dtype=float) - dissolved,
            co2_atm=pressure,
            charge_left=charge,
        )


def _require_sound(mixtures: Mixtures, activity: str) -> None:
    unknown = [name for name in mixtures.acids if name not in ACIDS]
    if unknown:
        raise TrialDataError(f"No acid is called {unknown[0]!r}.", try_this=f"one of {', '.join(ACIDS)}")
    if activity not in ACTIVITY_MODELS:
        raise TrialDataError(
            f"No activity model is called {activity!r}.", try_this=f"one of {', '.join(ACTIVITY_MODELS)}"
        )
    for name, values in {**mixtures.acids, "carbon": mixtures.carbon}.items():
        if not np.all(np.isfinite(values)) or np.any(np.asarray(values) < 0):
            raise TrialDataError(
                "An amount is negative or not a number.", where=str(name), try_this="give amounts of zero or more"
            )
    celsius = np.asarray(mixtures.celsius, dtype=float)
    if not np.all((celsius >= 0) & (celsius <= 100)):
        raise TrialDataError(
            "The temperature lies outside 0 to 100 °C.",
            where="celsius",
            try_this="give the temperature of the wet batter",
        )
