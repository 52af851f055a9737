"""What does a measurement at the bench come to?

Indices that bakeries compute from a few readings of one cake, loaf or cookie. Sources: AACC
Approved Methods 10-91 (layer cake template: volume, symmetry, uniformity), 10-50 (cookie
spread); formulas from memory, agreeing with their public descriptions.
"""

from __future__ import annotations

from analysis.errors import TrialDataError


def volume_index(left_mm: float, centre_mm: float, right_mm: float) -> float:
    """Sum of the three template heights of a layer cake, mm."""
    return left_mm + centre_mm + right_mm


def symmetry_index(left_mm: float, centre_mm: float, right_mm: float) -> float:
    """2 C - B - D, mm: above 0 domed, below 0 sunk."""
    return 2 * centre_mm - left_mm - right_mm


def uniformity_index(left_mm: float, right_mm: float) -> float:
    """B - D, mm: 0 when both sides rose alike."""
    return left_mm - right_mm


def spread_ratio(width_mm: float, thickness_mm: float) -> float:
    """Cookie width over thickness."""
    _above_zero(thickness_mm, "thickness")
    return width_mm / thickness_mm


def specific_volume_ml_g(volume_ml: float, mass_g: float) -> float:
    _above_zero(mass_g, "mass")
    return volume_ml / mass_g


def baking_loss_percent(batter_g: float, baked_g: float) -> float:
    """Share of the batter's mass that left in the oven, %."""
    _above_zero(batter_g, "batter")
    return 100.0 * (batter_g - baked_g) / batter_g


def batter_specific_gravity(batter_g: float, water_g: float) -> float:
    """Mass of a cup of batter over that of the same cup of water."""
    _above_zero(water_g, "water")
    return batter_g / water_g


def _above_zero(value: float, what: str) -> None:
    if not value > 0:
        raise TrialDataError(f"{value:g} is no {what}.", where=what, try_this="a number above zero")
