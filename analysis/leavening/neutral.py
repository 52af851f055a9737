"""How much soda brings a crumb to a pH?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.errors import NotPossible, TrialDataError
from analysis.leavening.arrays import Array
from analysis.leavening.batter import Amount, Batter, make_batter
from analysis.leavening.speciation import Mixtures, solve
from analysis.leavening.substances import SODA_MOLAR_MASS, Substance

CRUMB_C = 25.0
# Where carbon dioxide stands in a cooled crumb, atm: far below a bubbling batter (1), above
# air (0.0004). Rough, common practice, no source; the range draws it from LOW to HIGH.
CRUMB_CO2_ATM, CRUMB_CO2_LOW, CRUMB_CO2_HIGH = 0.01, 0.001, 0.1
CLOSE_ENOUGH, MOST_TIMES = 1e-4, 100.0  # both as shares of the first range looked at
NO_MATTER_PH = 0.005  # plain water at 6.999 needs no soda to reach 7


def soda_for_ph(amounts: Sequence[Amount], target_ph: float) -> float | None:
    """g of baking soda, in place of what is there, that bring the crumb to ``target_ph``.

    None when the crumb is above the target without any soda. Raises TrialDataError for a
    target that soda cannot reach (above 8.5), NotPossible when it takes absurdly much.
    """
    if not 2.0 <= target_ph <= 8.5:
        raise TrialDataError(
            f"Soda brings no crumb to pH {target_ph:g}.", where="target pH", try_this="give a target from 2 to 8.5"
        )
    others = [a for a in amounts if not (isinstance(a.what, Substance) and a.what.carbon and not a.what.ammonia)]
    batter = make_batter(others, celsius=CRUMB_C)
    top = max(2.5 * float(batter.acid_meq[0]) * SODA_MOLAR_MASS / 1000, 0.05)
    low, high = 0.0, top
    while high - low > CLOSE_ENOUGH * top:  # looks at 129 doses at once and keeps the gap that holds the target
        doses = np.linspace(low, high, 129)
        ph = crumb_ph_at(batter, doses)
        if ph[0] >= target_ph - NO_MATTER_PH:
            return (None if ph[0] > target_ph + NO_MATTER_PH else 0.0) if low == 0.0 else low
        above = np.flatnonzero(ph >= target_ph)
        if len(above):
            low, high = float(doses[above[0] - 1]), float(doses[above[0]])
        elif high > MOST_TIMES * top:
            raise NotPossible(
                f"No sensible amount of soda brings this crumb to pH {target_ph:g}.",
                where="target pH",
                try_this="ask for a lower pH",
            )
        else:
            low, high = high, high * 2
    return 0.5 * (low + high)


def crumb_ph_at(batter: Batter, soda_g: Array) -> Array:
    """pH of the cooled crumb of a batter without soda when these grams of soda are added."""
    return ph_with_soda(batter, soda_g, co2_atm=CRUMB_CO2_ATM)


def ph_with_soda(batter: Batter, soda_g: Array, *, co2_atm: float | None) -> Array:
    """pH after adding soda; ``co2_atm`` None keeps all carbon dioxide in."""
    mixtures = add_soda(batter, soda_g)
    return solve(mixtures).ph if co2_atm is None else ph_down_to(mixtures, co2_atm)


def ph_down_to(mixtures: Mixtures, co2_atm: float | Array) -> Array:
    """pH when carbon dioxide has left down to a pressure; what holds less to begin with keeps what it has."""
    opened = solve(mixtures, case="open", co2_atm=co2_atm)
    keeps = opened.carbon_dissolved >= mixtures.carbon
    ph = opened.ph.copy()
    ph[keeps] = solve(mixtures.only(keeps)).ph
    return ph


def add_soda(batter: Batter, soda_g: Array) -> Mixtures:
    """The batter's typical mixture with each of these grams of soda added."""
    moles = np.asarray(soda_g, dtype=float) / SODA_MOLAR_MASS / batter.water_kg
    base = batter.mixtures
    return Mixtures(
        acids={name: np.full(len(moles), total[0]) for name, total in base.acids.items()},
        carbon=base.carbon[0] + moles,
        fixed_charge=base.fixed_charge[0] + moles,
        fixed_strength=base.fixed_strength[0] + moles,
        celsius=np.full(len(moles), base.celsius[0]),
    )
