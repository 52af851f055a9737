"""How much of it should go in, said in one sentence?

One range where the curves agree, one for each level where they do not; and, over several
responses, the range that serves them all. Digits no finer than a hundredth of what was baked.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from analysis.baked import best_beyond
from analysis.dose_results import Curve, DosePart
from analysis.questions import Response
from analysis.results import ResponseResult
from analysis.words.numbers import (
    CELSIUS,
    half_width,
    join_words,
    number_shown,
    say_dose,
    say_level,
    say_number,
    say_share,
    with_unit,
    with_warmth,
)

BEST = {"maximise": "highest", "minimise": "lowest"}
Range = tuple[float, float]
_SHARED = 0.5  # a common range keeps at least this share of the narrowest, else each is said


def amount_to_use(result: ResponseResult, confidence: float) -> str:
    """ "for the highest rise height use 1.1 to 2.2 % flour of soda": the range as good as the best."""
    dose, response = result.family.dose, result.response
    assert dose is not None
    unit, curves = _dose_unit(result, dose.dose), _recommending(dose)
    best = f"{BEST[response.goal]} {response.name}" if response.goal in BEST else f"{response.name} nearest its target"
    if len(curves) == 1 and curves[0].level is None:
        said = with_warmth(_range_of(curves[0], dose), unit)
        return f"for the {best} use {said} of {dose.dose}{_gives(curves[0], dose, response, confidence)}"
    common = common_range(result)
    if common is not None:
        said = with_warmth(say_range(common, dose), unit)
        return f"for the {best} use {said} of {dose.dose}, with any {dose.by}{_peak(curves, dose, confidence)}"
    # The unit once, at the first: a list of full phrases is hard to read. A temperature may need two.
    units = [unit if at == 0 or unit.strip() == CELSIUS else "" for at in range(len(curves))]
    listed = [
        f"{with_warmth(_range_of(curve, dose), unit)} with {curve.level}"
        for curve, unit in zip(curves, units, strict=True)
    ]
    open_ended = [str(curve.level) for curve in curves if best_beyond(curve)]
    beyond = f"; with {join_words(open_ended)} the best may lie beyond what was baked" if open_ended else ""
    return f"the best {dose.dose} for {response.name} is {join_words(listed)}{beyond}"


def amount_for_all(results: Sequence[ResponseResult]) -> str:
    """ "use 1.3 to 2.0 % flour of soda: …": the range as good as the best for every response given.

    "" with fewer than two responses, or when one has no range that holds for all its curves.
    """
    shared = range_for_all(results)
    if len(results) < 2 or shared is None:
        return ""
    first = results[0].family.dose
    assert first is not None
    said = with_warmth(say_range(shared, first), _dose_unit(results[0], first.dose))
    names = join_words([result.response.name for result in results])
    within = ", each to within what matters" if all(result.response.matters for result in results) else ""
    return f"use {said} of {first.dose}: it suits {names}{within}"


def range_for_all(results: Sequence[ResponseResult]) -> Range | None:
    """The doses as good as the best for every response; None where one has no range that holds for all its curves."""
    doses = [result.family.dose for result in results]
    first = doses[0] if doses else None
    if first is None or any(dose is None or dose.dose != first.dose for dose in doses):
        return None
    ranges = [common_range(result) for result in results]
    told = [one for one in ranges if one is not None]
    low, high = _overlap(told) if told else (0.0, 0.0)
    return None if len(told) < len(ranges) or low >= high else (low, high)


def common_range(result: ResponseResult) -> Range | None:
    """The doses as good as the best on every curve; None where the curves ask for different ones.

    None as well when a best may lie beyond what was baked, and when the curves are found to differ.
    """
    dose = result.family.dose
    curves = _recommending(dose) if dose else []
    if not dose or not curves or len(curves) < len(dose.curves) or any(best_beyond(curve) for curve in curves):
        return None
    if len(curves) > 1 and any(f.kind == "curves differ" and f.matters == "yes" for f in result.findings):
        return None
    ranges = [(r.dose, r.as_good_to) for curve in curves if (r := curve.recommended)]
    low, high = _overlap(ranges)
    return (low, high) if high - low >= _SHARED * min(b - a for a, b in ranges) else None


def _recommending(dose: DosePart) -> list[Curve]:
    return [curve for curve in dose.curves if curve.recommended]


def _overlap(ranges: Sequence[Range]) -> Range:
    return max(low for low, _ in ranges), min(high for _, high in ranges)


def _range_of(curve: Curve, dose: DosePart) -> str:
    """ "1.4 to 1.9": the smallest and the largest dose that do as well as the best."""
    recommended = curve.recommended
    assert recommended is not None
    half = half_width(recommended.low, recommended.high)
    return say_range((recommended.dose, recommended.as_good_to), dose, 10 * half if half else 0.0)


def say_range(doses: Range, dose: DosePart, step: float = 0.0) -> str:
    """ "1.3 to 2.0", to digits that someone can weigh."""
    low, high = (_say(value, dose, step) for value in doses)
    return low if low == high else f"{low} to {high}"


def _say(value: float, dose: DosePart, step: float = 0.0) -> str:
    """A dose to whole steps of at least a hundredth of the range baked; an end of the range as it was set."""
    baked = [point.dose for curve in dose.curves for point in curve.points]
    span = max(baked) - min(baked) if baked else 0.0
    if span <= 0:
        return say_number(value, step)
    finest = 10.0 ** (1 + math.ceil(math.log10(span / 100)))  # ``say_number`` keeps two digits of its step
    coarse = step > finest
    if not coarse and any(math.isclose(value, end, abs_tol=1e-9 * span) for end in (min(baked), max(baked))):
        finer = say_number(value, finest)
        return finer if math.isclose(number_shown(finer) or 0.0, value, abs_tol=1e-9 * span) else say_level(value)
    return say_number(value, max(step, finest))


def _peak(curves: Sequence[Curve], dose: DosePart, confidence: float) -> str:
    """ ". The best lies between 1.6 and 2.0 (95 % intervals)": from the first to the last of all curves."""
    best = [curve.optimum for curve in curves if curve.optimum]
    lows = [one.low for one in best if one.low is not None]
    highs = [one.high for one in best if one.high is not None]
    if not len(lows) == len(highs) == len(curves):
        return ""
    return f". The best lies {_between(min(lows), max(highs), dose, confidence, 'intervals')}"


def _between(low: float, high: float, dose: DosePart, confidence: float, word: str = "interval") -> str:
    """ "between 1.6 and 2.0 (95 % interval)"."""
    half = half_width(low, high)
    first, last = (_say(end, dose, 10 * half if half else 0.0) for end in (low, high))
    where = f"between {first} and {last}" if first != last else f"at {first}"
    return f"{where} ({say_share(confidence)} {word})"


def _gives(curve: Curve, dose: DosePart, response: Response, confidence: float) -> str:
    """What comes of it, and how surely the amount is known."""
    recommended, optimum = curve.recommended, curve.optimum
    assert recommended is not None
    beyond = best_beyond(curve)
    if beyond:
        return f", but the best may lie beyond the {'most' if beyond == 'high' else 'least'} that was baked"
    plateau = curve.parameters.get("plateau")
    if optimum is not None:
        height = _height(optimum.response, optimum.response_low, optimum.response_high, response)
        return f": at best {height}{_surely('best', optimum.low, optimum.high, dose, confidence)}"
    if plateau is not None:
        height = _height(plateau.estimate, plateau.low, plateau.high, response)
        surely = _surely("least that will do", recommended.low, recommended.high, dose, confidence)
        return f": it levels off at {height}{surely}"
    return ""


def _surely(what: str, low: float | None, high: float | None, dose: DosePart, confidence: float) -> str:
    if low is None or high is None:
        return ""
    return f". The {what} lies {_between(low, high, dose, confidence)}"


def _height(value: float, low: float | None, high: float | None, response: Response) -> str:
    """A height to one digit of its half-width."""
    return with_unit(say_dose(value, low, high), response.unit)


def _dose_unit(result: ResponseResult, dose: str) -> str:
    units = [f.facts.get("factor_unit") for f in result.findings if f.variables[:1] == (dose,)]
    return str(next((unit for unit in units if unit), ""))
