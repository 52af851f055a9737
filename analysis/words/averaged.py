"""How is it said which dose is good enough whichever shape is true, and which doses give a share of the way?"""

from __future__ import annotations

from typing import Any

from analysis.words.numbers import join_words, say_dose, say_dose_interval, say_list, say_share, with_unit

_NAMED = 4


def say_averaged(part: Any, about: Any, question: Any) -> tuple[str, ...]:
    """One sentence for each curve, then which shapes it rests on."""
    said = []
    for one in part.doses:
        who = f" with {one.level}" if one.level is not None else ""
        least = with_unit(say_dose(one.dose, one.low, one.high), part.unit)
        best = with_unit(say_dose(one.best, one.best_low, one.best_high), part.unit)
        said.append(
            f"Averaged over the plausible shapes, {least} of {part.dose}{who} is the smallest amount that is good "
            f"enough for {about.response.name}{_ends(one.low, one.high, question)}, and {best} the best inside what "
            f"was baked{_ends(one.best_low, one.best_high, question)}."
        )
    heavy = sorted(part.doses[0].shapes.items(), key=lambda pair: -pair[1])
    listed = [f"{shape} {_weight(weight)}" for shape, weight in heavy[:_NAMED]]
    rest = f", {len(heavy) - _NAMED} more with less" if len(heavy) > _NAMED else ""
    return (*said, f"Weights of the shapes: {say_list(listed)}{rest}.")


def _weight(share: float) -> str:
    return "less than 1 %" if share < 0.01 else say_share(round(share, 2))


def say_effective(part: Any, about: Any, question: Any) -> tuple[str, ...]:
    """Each share that was asked for, or why it cannot be had."""
    said = []
    for curve in part.curves:
        who = f" with {curve.level}" if curve.level is not None else ""
        known = [one for one in curve.effective if one.dose is not None]
        for one in known:
            dose = with_unit(say_dose(one.dose, one.low, one.high), part.unit)
            said.append(
                f"{dose} of {part.dose}{who} gives {say_share(one.fraction)} of the way from the starting to the "
                f"final {about.response.name}{_ends(one.low, one.high, question)}."
            )
        missing = [say_share(one.fraction) for one in curve.effective if one.dose is None]
        if missing:
            why = part.reasons.get(f"effective [{curve.level}]" if curve.level is not None else "effective", "")
            said.append(
                f"The dose{who} that gives {join_words(missing)} of the way cannot be had{f': {why}' if why else ''}."
            )
    return tuple(said)


def _ends(low: float | None, high: float | None, question: Any) -> str:
    told = say_dose_interval(low, high, question.confidence)
    return f" ({told})" if told else ""
