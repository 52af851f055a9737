"""What is the chemistry of each run of a trial?

The account of a run's weights as columns that an analysis can use beside its factors:
gas for each 100 g of flour, soda or acid left over, predicted crumb pH.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from analysis.errors import TrialDataError
from analysis.leavening.balance import Balance, balance
from analysis.leavening.batter import Amount
from analysis.leavening.gas import gas_ml
from analysis.leavening.ingredients import Ingredient
from analysis.leavening.names import known_amounts
from analysis.leavening.neutral import CRUMB_C
from analysis.leavening.substances import SODA_MOLAR_MASS, Substance

RUN_DRAWS = 100
# Column names in frames and exports.
GAS, SODA_LEFT, ACID_LEFT, PREDICTED_PH = (
    "co2_available_ml_per_100g_flour",
    "soda_left_g_per_100g_flour",
    "acid_left_meq_per_100g_flour",
    "predicted_ph",
)
COLUMNS = (GAS, SODA_LEFT, ACID_LEFT, PREDICTED_PH)


@dataclass(frozen=True, kw_only=True)
class RunChemistry:
    """For 100 g of flour: gas in mL at 25 °C and sea level, soda left in g, acid left in meq.

    ``predicted_ph`` is that of the crumb (None without water), with its range;
    ``left_out`` names the lines nothing is known of (flour, egg, fat …); ``neutral_percent``
    is the soda that would use up the acid, in % of flour.
    """

    gas_ml: float
    soda_left_g: float
    acid_left_meq: float
    predicted_ph: float | None
    ph_low: float | None
    ph_high: float | None
    left_out: tuple[str, ...]
    account: Balance | None
    neutral_percent: float

    def columns(self) -> dict[str, float | None]:
        return {
            GAS: self.gas_ml,
            SODA_LEFT: self.soda_left_g,
            ACID_LEFT: self.acid_left_meq,
            PREDICTED_PH: self.predicted_ph,
        }


def run_chemistry(
    weights: Iterable[tuple[str, float]],
    flour_g: float,
    *,
    own: Mapping[str, Substance | Ingredient] | None = None,
    draws: int = RUN_DRAWS,
) -> RunChemistry:
    """Account for (ingredient, grams) of one run; ``flour_g`` > 0.

    Raises TrialDataError when the flour weighs nothing or a weight is impossible.
    """
    if not flour_g > 0:
        raise TrialDataError("The flour of a bake must weigh something.", where="flour", try_this="300")
    known, left_out = known_amounts(weights, own)
    per_100 = 100.0 / flour_g
    if not any(isinstance(a.what, Ingredient) and a.what.water > 0 for a in known):
        return _dry(known, per_100, left_out)
    account = balance(known, celsius=CRUMB_C, draws=draws)
    return RunChemistry(
        gas_ml=account.gas.available_ml * per_100,
        soda_left_g=account.soda_left_g * per_100,
        acid_left_meq=account.acid_left_meq * per_100,
        predicted_ph=account.baked.value,
        ph_low=account.baked.low,
        ph_high=account.baked.high,
        left_out=left_out,
        account=account,
        neutral_percent=account.neutral_soda.by_equivalence_g * per_100,
    )


def _dry(known: list[Amount], per_100: float, left_out: tuple[str, ...]) -> RunChemistry:
    """By equivalence only: without water there is no pH."""
    acid = soda = 0.0
    for amount in known:
        if isinstance(amount.what, Substance):
            soda += 1000 * amount.grams * amount.what.carbon / amount.what.molar_mass
            equivalent = amount.what.equivalent_mass
            acid += 0.0 if equivalent is None else 1000 * amount.grams / equivalent
    return RunChemistry(
        gas_ml=gas_ml(min(soda, acid), celsius=CRUMB_C) * per_100,
        soda_left_g=max(soda - acid, 0.0) * SODA_MOLAR_MASS / 1000 * per_100,
        acid_left_meq=max(acid - soda, 0.0) * per_100,
        predicted_ph=None,
        ph_low=None,
        ph_high=None,
        left_out=left_out,
        account=None,
        neutral_percent=acid * SODA_MOLAR_MASS / 1000 * per_100,
    )
