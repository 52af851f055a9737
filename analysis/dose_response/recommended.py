"""Which findings name a dose?

For each curve the dose at which the response turns or meets its target ("best dose"), if
that lies inside the range, and the smallest dose that is as good ("recommended dose").
A flat response recommends nothing.
"""

from __future__ import annotations

from typing import Any

from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.evidence import Ask
from analysis.dose_response.optimum import target_doses
from analysis.dose_results import Curve
from analysis.results import Finding


def dose_findings(fit: ShapeFit, curves: tuple[Curve, ...], ask: Ask, effect: Finding) -> list[Finding]:
    """Findings whose size is a dose; whether they matter follows the effect of the dose."""
    if fit.shape.name == "flat":
        return []
    found = []
    for number, curve in enumerate(curves):
        facts = _facts(fit, number, curve, ask)
        variables = (fit.layout.dose_name, *((fit.layout.by_name,) if fit.layout.by_name else ()))
        named: list[tuple[str, float, float | None, float | None]] = []
        if curve.optimum is not None:
            named.append(("best dose", curve.optimum.dose, curve.optimum.low, curve.optimum.high))
        if curve.recommended is not None:
            named.append(("recommended dose", curve.recommended.dose, curve.recommended.low, curve.recommended.high))
        for kind, size, low, high in named:
            found.append(
                Finding(
                    kind=kind,
                    response=ask.response,
                    variables=variables,
                    size=size,
                    low=low,
                    high=high,
                    unit=ask.dose_unit,
                    direction=effect.direction,
                    matters=effect.matters,
                    p=effect.p,
                    facts=facts,
                )
            )
    return found


def _facts(fit: ShapeFit, number: int, curve: Curve, ask: Ask) -> dict[str, Any]:
    best, good = curve.optimum, curve.recommended
    facts: dict[str, Any] = {
        "level": curve.level,
        "shape": fit.shape.name,
        "factor_kind": "amount",
        "factor_unit": ask.dose_unit,
        "goal": ask.aim.goal,
        "goal_assumed": ask.aim.assumed,
        "optimum": best.dose if best else None,
        "interval_by": best.method if best else None,
        "response": best.response if best else None,
    }
    if good is not None:
        facts |= {
            "recommended": good.dose,
            "as_good_to": good.as_good_to,
            "within": good.within,
            "within_from": "difference that matters" if ask.aim.matters is not None else "5 % of the curve's span",
            "recommended_response": good.response,
            "edge": good.edge,
        }
    if ask.aim.goal == "target" and ask.aim.target is not None:
        facts["meets_target_at"] = target_doses(fit, number, ask.aim.target)
    return facts
