"""How does a machine read the account?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from analysis.words.leavening import say_caution, say_swap

if TYPE_CHECKING:  # a balance needs no curve, powder or swap
    from analysis.leavening.altitude import Altitude
    from analysis.leavening.balance import Balance, PhRange
    from analysis.leavening.batter import Amount
    from analysis.leavening.curve import TitrationCurve
    from analysis.leavening.ingredients import Ingredient, Spread
    from analysis.leavening.powder import Powder
    from analysis.leavening.release import Release, ReleaseStages
    from analysis.leavening.strength import Strength
    from analysis.leavening.substances import Substance
    from analysis.leavening.swap import Swap

SCHEMA_VERSION = 1


def balance_json(account: Balance) -> dict[str, Any]:
    """``ph.low`` and ``ph.high`` span mixing to crumb; each state has its own range beside it."""
    gas, neutral = account.gas, account.neutral_soda
    states = {"mixed_closed": account.mixed_closed, "mixed_open": account.mixed_open, "baked": account.baked}
    return {
        "schema_version": SCHEMA_VERSION,
        "co2": {
            "available_mmol": gas.available_mmol,
            "available_low_mmol": gas.available_low_mmol,
            "available_high_mmol": gas.available_high_mmol,
            "available_g": gas.available_g,
            "available_ml": gas.available_ml,
            "heat_mmol": gas.heat_mmol,
            "free_cold_ml": gas.free_cold_ml,
            "free_baked_ml": gas.free_baked_ml,
            "other_gas_ml": gas.other_gas_ml,
            "temperature_c": gas.temperature_c,
            "pressure_kpa": gas.pressure_kpa,
        },
        "soda_g": account.soda_g,
        "soda_left_g": account.soda_left_g,
        "acid_meq": account.acid_meq,
        "acid_left_meq": account.acid_left_meq,
        "neutral_soda_g": neutral.by_equivalence_g,
        "neutral_soda": {
            "by_equivalence_g": neutral.by_equivalence_g,
            "low_g": neutral.low_g,
            "high_g": neutral.high_g,
            "by_ph_g": neutral.by_ph_g,
            "target_ph": neutral.target_ph,
        },
        "ph": {
            **{name: state.value for name, state in states.items()},
            "low": min(state.low for state in states.values()),
            "high": max(state.high for state in states.values()),
            "ranges": {name: _range_json(state) for name, state in states.items()},
        },
        "ionic_strength": account.ionic_strength,
        "stretched": account.stretched,
        "portions": account.portions,
        "sodium_mg": account.sodium_mg,
        "aluminium_mg": account.aluminium_mg,
        "lines": [dict(line.__dict__) for line in account.lines],
        "cautions": [say_caution(caution) for caution in account.cautions],
    }


def neutral_json(account: Balance) -> dict[str, Any]:
    """The neutral dose alone."""
    whole = balance_json(account)
    return {key: whole[key] for key in ("schema_version", "acid_meq", "neutral_soda", "lines")}


def _range_json(state: PhRange) -> dict[str, float]:
    return {"low": state.low, "high": state.high}


def curve_json(curve: TitrationCurve) -> dict[str, Any]:
    return {
        "schema_version": SCHEMA_VERSION,
        "temperature_c": curve.celsius,
        "neutral_soda_g": curve.neutral_g,
        "points": [dict(point.__dict__) for point in curve.points],
    }


def amount_json(amount: Amount) -> dict[str, Any]:
    return {"ingredient": amount.name, "grams": amount.grams}


def swap_json(swap: Swap) -> dict[str, Any]:
    return {
        "schema_version": SCHEMA_VERSION,
        "out": amount_json(swap.out),
        "into": [amount_json(part) for part in swap.into],
        "change": {
            "acid_meq": swap.acid_meq,
            "co2_mmol": swap.co2_mmol,
            "water_g": swap.water_g,
            "sodium_mg": swap.sodium_mg,
        },
        "words": say_swap(swap),
    }


def stages_json(stages: ReleaseStages) -> dict[str, Any]:
    return {"mixing": stages.mixing, "bench": stages.bench, "oven": stages.oven, "acting": stages.acting}


def powder_json(powder: Powder) -> dict[str, Any]:
    return {
        "schema_version": SCHEMA_VERSION,
        "parts": [dict(part.__dict__) for part in powder.parts],
        "total_co2_percent": powder.total_co2,
        "available_co2_percent": powder.available_co2,
        "residual_co2_percent": powder.residual_co2,
        "soda_left_percent": powder.soda_left,
        "acid_left_percent": powder.acid_left,
        "release": None if powder.stages is None else stages_json(powder.stages),
        "meets": dict(powder.meets),
        "sodium_mg_per_g": powder.sodium_mg_per_g,
        "aluminium_mg_per_g": powder.aluminium_mg_per_g,
    }


def altitude_json(place: Altitude) -> dict[str, Any]:
    cut = place.extension_cut
    return {
        "schema_version": SCHEMA_VERSION,
        "altitude_m": place.altitude_m,
        "pressure_kpa": place.pressure_kpa,
        "expansion": place.expansion,
        "keep_share": place.keep_share,
        "boils_c": place.boils_c,
        "extension_cut": None if cut is None else {"low": cut[0], "high": cut[1]},
    }


def strength_json(strength: Strength) -> dict[str, Any]:
    return {"schema_version": SCHEMA_VERSION, **strength.__dict__}


def release_json(release: Release) -> dict[str, Any]:
    return dict(release.__dict__)


def acids_json() -> dict[str, Any]:
    """The tables: substances, ingredients and release behaviour."""
    from analysis.leavening.ingredients import INGREDIENTS
    from analysis.leavening.release import RELEASE
    from analysis.leavening.substances import SUBSTANCES

    return {
        "schema_version": SCHEMA_VERSION,
        "substances": [_substance_json(substance) for substance in SUBSTANCES.values()],
        "ingredients": [_ingredient_json(ingredient) for ingredient in INGREDIENTS.values()],
        "release": [release_json(release) for release in RELEASE.values()],
    }


def _substance_json(substance: Substance) -> dict[str, Any]:
    return {
        "name": substance.name,
        "aliases": list(substance.aliases),
        "formula": substance.formula,
        "role": substance.role,
        "molar_mass": substance.molar_mass,
        "neutralising_value": substance.neutralising_value,
        "neutralising_value_kind": substance.nv_kind,
        "release": substance.release,
        "sodium_share": substance.sodium_share,
        "aluminium_share": substance.aluminium_share,
        "grams_per_tsp": substance.grams_per_tsp,
        "source": substance.source,
        "sureness": substance.sureness,
    }


def _ingredient_json(ingredient: Ingredient) -> dict[str, Any]:
    return {
        "name": ingredient.name,
        "aliases": list(ingredient.aliases),
        "acidity_meq_per_100g": _spread_json(ingredient.acidity),
        "neutralising_value": _spread_json(ingredient.neutralising_value),
        "ph": _spread_json(ingredient.ph),
        "water_share": ingredient.water,
        "density_g_per_ml": ingredient.density,
        "sodium_mg_per_100g": ingredient.sodium_mg,
        "source": ingredient.source,
        "sureness": ingredient.sureness,
    }


def _spread_json(spread: Spread) -> dict[str, float]:
    return {"low": spread.low, "typical": spread.typical, "high": spread.high}
