"""What happens to pH and gas as soda is added? The titration a teacher draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analysis.errors import TrialDataError
from analysis.leavening.batter import Amount, make_batter
from analysis.leavening.gas import STANDARD_KPA, gas_ml
from analysis.leavening.neutral import CRUMB_C, CRUMB_CO2_ATM, add_soda, ph_with_soda
from analysis.leavening.speciation import solve
from analysis.leavening.substances import SODA_MOLAR_MASS, Substance

if TYPE_CHECKING:
    import pandas as pd

# Red cabbage juice: colour from pH, each from this value up (rough, within one unit; common
# classroom practice, textbooks agree). Hex colours are ours.
CABBAGE = (
    (0.0, "red", "#c8102e"),
    (3.5, "purple", "#8e3a80"),
    (5.5, "violet", "#6a4c9c"),
    (7.0, "blue", "#2f5d9b"),
    (9.0, "blue-green", "#1f7a78"),
    (11.0, "green", "#4a8f3c"),
)


@dataclass(frozen=True, kw_only=True)
class TitrationPoint:
    soda_g: float
    ph_mixed: float
    ph_baked: float
    free_ml: float
    acid_left_meq: float
    soda_left_g: float
    colour: str


@dataclass(frozen=True, kw_only=True)
class TitrationCurve:
    """``neutral_g``: soda that uses up the acid by equivalence."""

    points: tuple[TitrationPoint, ...]
    neutral_g: float
    celsius: float

    def to_frame(self) -> pd.DataFrame:
        import pandas as pd

        return pd.DataFrame([point.__dict__ for point in self.points])


def titration_curve(
    amounts: Sequence[Amount],
    *,
    most_g: float | None = None,
    steps: int = 41,
    celsius: float = 25.0,
    kilopascal: float = STANDARD_KPA,
) -> TitrationCurve:
    """pH and free gas for ``steps`` amounts of soda from 0 to ``most_g`` (default twice the neutral dose).

    Soda among ``amounts`` is taken out first. Raises TrialDataError without water or steps.
    """
    if steps < 2 or (most_g is not None and not most_g > 0):
        raise TrialDataError("The curve needs two points at least.", where="steps, most_g", try_this="say --most 5")
    others = [a for a in amounts if not (isinstance(a.what, Substance) and a.what.carbon)]
    batter = make_batter(others, celsius=celsius, stage="mixed")
    acid = float(batter.acid_meq[0])
    neutral = acid * SODA_MOLAR_MASS / 1000
    soda = np.linspace(0.0, most_g if most_g is not None else max(2 * neutral, 1.0), steps)
    mixtures = add_soda(batter, soda)
    closed = solve(mixtures)
    pressure = kilopascal / STANDARD_KPA
    opened = solve(mixtures, case="open", co2_atm=pressure)
    free = np.where(closed.co2_atm > pressure, opened.carbon_gas, 0.0) * batter.water_kg * 1000
    baked = ph_with_soda(make_batter(others, celsius=CRUMB_C), soda, co2_atm=CRUMB_CO2_ATM)
    return TitrationCurve(
        points=tuple(
            TitrationPoint(
                soda_g=float(dose),
                ph_mixed=float(closed.ph[i]),
                ph_baked=float(baked[i]),
                free_ml=gas_ml(max(float(free[i]), 0.0), celsius=celsius, kilopascal=kilopascal),
                acid_left_meq=max(acid - 1000 * float(dose) / SODA_MOLAR_MASS, 0.0),
                soda_left_g=max(float(dose) - neutral, 0.0),
                colour=cabbage_colour(float(closed.ph[i])),
            )
            for i, dose in enumerate(soda)
        ),
        neutral_g=neutral,
        celsius=celsius,
    )


def cabbage_colour(ph: float) -> str:
    """Name of the colour red cabbage juice takes at a pH, within about one unit."""
    return next(name for start, name, _ in reversed(CABBAGE) if ph >= start or start == 0.0)
