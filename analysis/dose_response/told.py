"""Which further parts of a dose curve are told: the averaged dose, and the shares that were asked for?"""

from __future__ import annotations

from analysis.dose_response.results import AveragedPart, EffectivePart, Shares
from analysis.dose_results import DosePart
from analysis.parts import Part
from analysis.questions import Question


def told_parts(dose: DosePart, question: Question, reasons: dict[str, str]) -> tuple[Part, ...]:
    """Parts whose sentences stand in text, JSON and report."""
    unit = next((factor.unit for factor in question.factors if factor.name == dose.dose), "")
    out: list[Part] = []
    if dose.averaged and dose.shape != "flat":
        good = {c.level: c.recommended.dose if c.recommended else None for c in dose.curves}
        out.append(
            AveragedPart(
                dose=dose.dose,
                unit=unit,
                chosen=dose.shape,
                good_enough=tuple(good.get(one.level) for one in dose.averaged),
                doses=dose.averaged,
            )
        )
    if question.effective:
        asked = set(question.effective)
        curves = tuple(
            Shares(level=curve.level, effective=tuple(one for one in curve.effective if one.fraction in asked))
            for curve in dose.curves
        )
        why = {key: text for key, text in reasons.items() if key.startswith("effective")}
        out.append(EffectivePart(dose=dose.dose, unit=unit, shape=dose.shape, curves=curves, reasons=why))
    return tuple(out)
