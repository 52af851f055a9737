"""Does an interval of a dose reach below none at all? Then it ends at 0, and that is said.

Limits by the delta method, by Fieller or by a profile know nothing of what a dose is. Where what was
baked holds a dose below 0 (a coded amount, a temperature) limits stay as they are.
"""

from __future__ import annotations

from dataclasses import replace

from analysis.dose_results import Curve
from analysis.estimates import Interval

DOSES = ("best", "breakpoint", "midpoint", "e", "K", "rise midpoint", "fall midpoint")  # parameters that are doses
WHY = "its interval reached below 0 and ends there, as no dose is less than none"


def never_below(curve: Curve, lowest: float) -> tuple[Curve, dict[str, str]]:
    """The curve with limits of doses cut at 0, and of which that is so. ``lowest`` dose that was baked."""
    if lowest < 0:
        return curve, {}
    reasons: dict[str, str] = {}

    def cut(name: str, dose: float | None, low: float | None) -> float | None:
        if low is None or dose is None or low >= 0 or dose < 0:
            return low
        reasons[name] = WHY
        return 0.0

    parameters = {
        name: _cut_interval(value, cut(name, value.estimate, value.low)) if name in DOSES else value
        for name, value in curve.parameters.items()
    }
    best = curve.optimum
    if best is not None:
        best = replace(
            best,
            low=cut("best dose", best.dose, best.low),
            delta_low=cut("best dose by its standard error", best.dose, best.delta_low),
        )
    good = curve.recommended
    if good is not None:
        good = replace(good, low=cut("recommended dose", good.dose, good.low))
    effective = tuple(
        replace(one, low=cut(f"effective dose {one.fraction:g}", one.dose, one.low)) for one in curve.effective
    )
    return replace(curve, parameters=parameters, optimum=best, recommended=good, effective=effective), reasons


def _cut_interval(value: Interval, low: float | None) -> Interval:
    return value if low == value.low else replace(value, low=low)
