"""What is in a baking powder, and does it hold what the rule asks?

A powder is soda, one or more dry acids and starch. *Available* carbon dioxide is what its
acids can free, as a share of its mass. ``MINIMUM_CO2`` names the rules.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from analysis.errors import TrialDataError
from analysis.leavening.batter import Amount
from analysis.leavening.release import ReleaseStages, stages
from analysis.leavening.substances import CO2_MOLAR_MASS, SODA_MOLAR_MASS, SUBSTANCES, Substance, Sureness


@dataclass(frozen=True, kw_only=True)
class Rule:
    """``minimum``: g available CO2 in 100 g of powder; ``most_left``: g residual CO2, if ruled."""

    name: str
    minimum: float
    most_left: float | None = None
    source: str = ""
    sureness: Sureness = "A"


MINIMUM_CO2: Mapping[str, Rule] = MappingProxyType(
    {
        rule.name: rule
        for rule in (
            Rule(name="USA", minimum=12.0, source="'according to Federal standards': a trade journal's dictionary"),
            Rule(name="Canada", minimum=10.0, source="Food and Drug Regulations C.R.C. c. 870, B.03.002, method FO-3"),
            Rule(
                name="UK 1946",
                minimum=8.0,
                most_left=1.5,
                source="Food Standards (Baking Powder) Order 1944/46, historic, from memory",
                sureness="C",
            ),
        )
    }
)


@dataclass(frozen=True, kw_only=True)
class PowderPart:
    ingredient: str
    grams: float
    percent: float
    sureness: Sureness


@dataclass(frozen=True, kw_only=True)
class Powder:
    """g in 100 g of powder unless said. ``total_co2``: of all the soda; ``available_co2``: what the
    acids free; ``residual_co2``: the rest. ``soda_left``/``acid_left`` (as g soda that acid could still
    neutralise) in 100 g. ``meets``: rule name -> does it meet the rule."""

    parts: tuple[PowderPart, ...]
    total_co2: float
    available_co2: float
    residual_co2: float
    soda_left: float
    acid_left: float
    stages: ReleaseStages | None
    meets: Mapping[str, bool]
    sodium_mg_per_g: float
    aluminium_mg_per_g: float


def check_powder(amounts: Sequence[Amount]) -> Powder:
    """Account for a given mix. Raises TrialDataError when it holds no soda or nothing at all."""
    mass = sum(a.grams for a in amounts)
    pure = [a for a in amounts if isinstance(a.what, Substance)]
    if len(pure) != len(amounts):
        wet = next(a.name for a in amounts if not isinstance(a.what, Substance))
        raise TrialDataError(
            f"{wet} is no part of a dry powder.", where=wet, try_this="name soda, dry acids and starch only"
        )
    if any(a.grams < 0 for a in amounts):
        raise TrialDataError("An amount is negative.", where="powder", try_this="give grams of zero or more")
    soda = sum(
        a.grams * a.what.carbon / a.what.molar_mass * SODA_MOLAR_MASS for a in pure if isinstance(a.what, Substance)
    )
    if mass <= 0 or soda <= 0:
        raise TrialDataError(
            "There is no soda in this powder, so it gives no gas.", where="powder", try_this='add "30 g baking soda"'
        )
    acids = [(a, _soda_neutralised(a)) for a in pure if _soda_neutralised(a) > 0]
    acid = sum(value for _, value in acids)
    used = min(soda, acid)
    share = CO2_MOLAR_MASS / SODA_MOLAR_MASS
    total, available = 100 * soda / mass * share, 100 * used / mass * share
    return Powder(
        parts=tuple(
            PowderPart(ingredient=a.name, grams=a.grams, percent=100 * a.grams / mass, sureness=a.what.sureness)
            for a in pure
        ),
        total_co2=total,
        available_co2=available,
        residual_co2=total - available,
        soda_left=100 * (soda - used) / mass,
        acid_left=100 * (acid - used) / mass,
        stages=stages([(a.what.release or "at once", value) for a, value in acids if isinstance(a.what, Substance)])
        if acids
        else None,
        meets={
            rule.name: available >= rule.minimum - 1e-9
            and (rule.most_left is None or total - available <= rule.most_left + 1e-9)
            for rule in MINIMUM_CO2.values()
        },
        sodium_mg_per_g=sum(1000 * a.grams * a.what.sodium_share for a in pure if isinstance(a.what, Substance)) / mass,
        aluminium_mg_per_g=sum(1000 * a.grams * a.what.aluminium_share for a in pure if isinstance(a.what, Substance))
        / mass,
    )


def compose_powder(acid_shares: Mapping[str, float], *, available_co2: float, mass_g: float = 100.0) -> Powder:
    """A powder whose acids neutralise all of its soda, filled up with starch.

    ``acid_shares``: acid name -> share of the gas it frees (made to add up to 1).
    ``available_co2``: g in 100 g. Raises TrialDataError when acids and soda do not leave room.
    """
    whole = sum(acid_shares.values())
    if not acid_shares or not 0 < whole < float("inf") or min(acid_shares.values()) < 0:
        raise TrialDataError("A powder needs an acid.", where="acids", try_this='name one, "cream of tartar"')
    if not 0 < available_co2 <= 100:
        raise TrialDataError(
            f"{available_co2:g} % available carbon dioxide cannot be.",
            where="available carbon dioxide",
            try_this="12 to 16 % is usual",
        )
    soda = available_co2 / 100 * mass_g * SODA_MOLAR_MASS / CO2_MOLAR_MASS
    amounts = [Amount(what=SUBSTANCES["baking soda"], grams=soda)]
    for name, share in acid_shares.items():
        acid = SUBSTANCES.get(name)
        value = None if acid is None else acid.neutralising_value
        if acid is None or value is None:
            raise TrialDataError(f"{name!r} is no dry acid.", where="acids", try_this="see crumbwise leaven acids")
        amounts.append(Amount(what=acid, grams=100 * soda * share / whole / value))
    starch = mass_g - sum(a.grams for a in amounts)
    if starch < -1e-9:
        raise TrialDataError(
            f"Soda and acid for {available_co2:g} % available carbon dioxide weigh more than the powder.",
            where="available carbon dioxide",
            try_this="ask for less, or take an acid with a higher neutralising value",
        )
    return check_powder([*amounts, Amount(what=SUBSTANCES["starch"], grams=max(starch, 0.0))])


def _soda_neutralised(amount: Amount) -> float:
    if not isinstance(amount.what, Substance):
        return 0.0
    return amount.grams * (amount.what.neutralising_value or 0.0) / 100
