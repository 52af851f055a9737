"""How much less powder does a kitchen in the mountains need?"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.leavening.gas import STANDARD_KPA, boiling_point_c, gas_expansion, pressure_kpa

NO_CHANGE_BELOW_M = 914.4  # 3,000 ft: University of Wyoming Extension changes nothing below


@dataclass(frozen=True, kw_only=True)
class Altitude:
    """``keep_share``: share of the sea-level leavener that fills the same volume (p / p0).

    ``extension_cut``: the cut an extension service prints for this height, as (low, high)
    share of the powder, None below 3,000 ft (University of Wyoming Extension).
    """

    altitude_m: float
    pressure_kpa: float
    expansion: float
    keep_share: float
    boils_c: float
    extension_cut: tuple[float, float] | None


_EXTENSION = ((7000 * 0.3048, (0.25, 0.25)), (5000 * 0.3048, (0.125, 0.25)), (3000 * 0.3048, (0.125, 0.125)))


def at_altitude(altitude_m: float) -> Altitude:
    """Raises TrialDataError outside -500 to 9,000 m."""
    pressure = pressure_kpa(altitude_m)
    return Altitude(
        altitude_m=altitude_m,
        pressure_kpa=pressure,
        expansion=gas_expansion(altitude_m),
        keep_share=pressure / STANDARD_KPA,
        boils_c=boiling_point_c(pressure),
        extension_cut=next((cut for start, cut in _EXTENSION if altitude_m >= start - 1.0), None),
    )
