"""What can stand in for this acid or leavener, keeping the gas and the neutrality?"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.errors import TrialDataError
from analysis.leavening.batter import Amount
from analysis.leavening.ingredients import INGREDIENTS, Ingredient
from analysis.leavening.substances import CO2_MOLAR_MASS, SODA_MOLAR_MASS, SUBSTANCES, Substance

POWDER_AVAILABLE_CO2 = 14.0  # g in 100 g, a usual household powder (12 at least in the USA)


@dataclass(frozen=True, kw_only=True)
class Swap:
    """``out`` is taken away, ``into`` come in its place.

    ``acid_meq`` and ``co2_mmol`` are changes (after minus before); ``water_g`` and ``sodium_mg``
    too. ``note`` is a key of the words catalogue.
    """

    out: Amount
    into: tuple[Amount, ...]
    acid_meq: float
    co2_mmol: float
    water_g: float
    sodium_mg: float
    note: str


def swap_acid(out: Amount, acid: Substance | Ingredient, *, base: Ingredient | None = None) -> Swap:
    """Replace one acid source by another with the same acid.

    A liquid is replaced by ``base`` (milk for dairy, else water) of the same water and the
    acid that makes up the difference. Raises TrialDataError when either brings no acid.
    """
    wanted = acid_meq(out)
    if wanted <= 0:
        raise TrialDataError(f"{out.name} brings no acid to replace.", where=out.name, try_this="name an acid source")
    strength = acid_meq(Amount(what=acid, grams=1.0))
    if strength <= 0:
        raise TrialDataError(f"{acid.name} brings no acid.", where=acid.name, try_this="see crumbwise leaven acids")
    parts: list[Amount] = []
    if isinstance(out.what, Ingredient) and isinstance(acid, Substance):
        filler = base or INGREDIENTS["milk" if "phosphoric" in out.what.buffer else "water"]
        parts.append(Amount(what=filler, grams=out.grams * out.what.water / filler.water))
    missing = wanted - sum(acid_meq(part) for part in parts)
    if missing <= 0:
        raise TrialDataError(
            f"{parts[0].name} alone brings more acid than {out.name}.",
            where=parts[0].name,
            try_this="take water as base",
        )
    grams = missing / strength
    parts.append(Amount(what=acid, grams=grams))
    if isinstance(out.what, Ingredient) and isinstance(acid, Ingredient):
        water = out.grams * out.what.water - grams * acid.water
        if water > 0:
            parts.append(Amount(what=INGREDIENTS["water"], grams=water))
    return _swap(out, tuple(parts), "same acid")


def swap_soda(out: Amount, leavener: Substance) -> Swap:
    """Replace a bicarbonate by another with the same carbon dioxide."""
    if not isinstance(out.what, Substance) or not out.what.carbon:
        raise TrialDataError(f"{out.name} is no leavener.", where=out.name, try_this='start from "5 g baking soda"')
    if not leavener.carbon:
        raise TrialDataError(
            f"{leavener.name} is no leavener.", where=leavener.name, try_this='"potassium bicarbonate"'
        )
    moles = out.grams * out.what.carbon / out.what.molar_mass
    into = Amount(what=leavener, grams=moles * leavener.molar_mass / leavener.carbon)
    return _swap(out, (into,), "same gas")


def powder_from_parts(
    powder_g: float, acid: Substance, *, available_co2: float = POWDER_AVAILABLE_CO2
) -> tuple[Amount, ...]:
    """Soda, acid and starch that do what ``powder_g`` of baking powder does."""
    value = acid.neutralising_value
    if value is None or not powder_g > 0:
        raise TrialDataError(f"{acid.name} is no dry acid.", where=acid.name, try_this='"cream of tartar"')
    soda = powder_g * available_co2 / 100 * SODA_MOLAR_MASS / CO2_MOLAR_MASS
    acid_g = 100 * soda / value
    starch = max(powder_g - soda - acid_g, 0.0)
    return (
        Amount(what=SUBSTANCES["baking soda"], grams=soda),
        Amount(what=acid, grams=acid_g),
        Amount(what=SUBSTANCES["starch"], grams=starch),
    )


def acid_meq(amount: Amount) -> float:
    """meq of acid that an amount brings."""
    if isinstance(amount.what, Ingredient):
        return amount.what.acidity.typical * amount.grams / 100
    equivalent = amount.what.equivalent_mass
    return 0.0 if equivalent is None else 1000 * amount.grams / equivalent


def _co2_mmol(amount: Amount) -> float:
    if isinstance(amount.what, Ingredient):
        return 0.0
    return 1000 * amount.grams * amount.what.carbon / amount.what.molar_mass


def _sodium_mg(amount: Amount) -> float:
    if isinstance(amount.what, Ingredient):
        return amount.what.sodium_mg * amount.grams / 100
    return 1000 * amount.grams * amount.what.sodium_share


def _water_g(amount: Amount) -> float:
    return amount.grams * amount.what.water if isinstance(amount.what, Ingredient) else 0.0


def _swap(out: Amount, into: tuple[Amount, ...], note: str) -> Swap:
    def change(measure: object) -> float:
        assert callable(measure)
        return float(sum(measure(part) for part in into) - measure(out))

    return Swap(
        out=out,
        into=into,
        acid_meq=change(acid_meq),
        co2_mmol=change(_co2_mmol),
        water_g=change(_water_g),
        sodium_mg=change(_sodium_mg),
        note=note,
    )
