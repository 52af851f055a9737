"""How is it said whether a process keeps its specification, and how sure that is?

An index is never said without its interval, what was wanted of it, and what it means in
standard deviations; "capable" only of a process that is stable.
"""

from __future__ import annotations

from analysis.control.capability import FEW, MEETS, SHORT, CapabilityAnswer
from analysis.control.results import Capability, Specification
from analysis.words.numbers import (
    half_width,
    say_count,
    say_digits,
    say_interval,
    say_number,
    say_share,
    start,
    with_unit,
)

SMALLEST = 0.0001  # a share below 0.01 % is said to be so

_CAUTIONS: dict[str, str] = {
    "few batches": "{batches} are few: from {few} on the figures settle.",
    "lopsided": "Readings reach further to one side, so the figures go by the quantiles on another scale ({scale}), "
    "not by standard deviations.",
    "not normal": "The readings do not scatter as a normal distribution does, so the share outside, which rests on its "
    "far ends, is rougher than its interval says.",
}


def say_capability(answer: CapabilityAnswer) -> tuple[str, ...]:
    """The answer in sentences, the verdict first."""
    said = [say_verdict(answer), say_outside(answer)]
    if "batches differ" in answer.cautions:
        said.append(_batches(answer))
    return tuple([*said, *_cautions(answer)])


def say_verdict(answer: CapabilityAnswer) -> str:
    """Capable or not; of a process that is not stable, what it did so far."""
    name, figure = answer.specification.response, say_index(answer.index, answer.confidence)
    wanted = f"wanted is {say_number(answer.wanted)}"
    if not answer.stable:
        why = "is not stable" if answer.stable is False else "cannot be called stable or not"
        return start(f"{name} {why}, so what it can do is not known; what it did so far: {figure}, {wanted}.")
    if answer.index.verdict == MEETS:
        return start(f"{name} keeps its specification with room to spare: {_nearer(answer)}, {figure}, {wanted}.")
    if answer.index.verdict == SHORT:
        return start(f"{name} does not keep its specification well enough: {_nearer(answer)}, {figure}, {wanted}.")
    over = say_count(answer.spreads.batches, "batch")
    return start(
        f"whether {name} keeps its specification well enough cannot be told from {over}: "
        f"{_nearer(answer)}, {figure}, {wanted}."
    )


def say_index(index: Capability, confidence: float) -> str:
    """ "Cpk = 1.05 (95 % interval 0.86 to 1.24)"."""
    step = half_width(index.low, index.high)
    return f"{index.index} = {say_number(index.value, step)} ({say_interval(index.low, index.high, confidence)})"


def say_outside(answer: CapabilityAnswer) -> str:
    """The share of pieces outside, with its interval, beside how many were seen there."""
    out = answer.outside
    share = "Fewer than 0.01 %" if out.value < SMALLEST else f"About {_percent(out.value)}"
    return (
        f"{share} of pieces are expected outside the specification ({_limits(answer.specification)}; "
        f"{say_share(answer.confidence)} interval {_range(out.low, out.high)}); "
        f"{out.seen or 'none'} of {say_count(out.readings, 'reading')} {'was' if out.seen == 1 else 'were'}."
    )


def _nearer(answer: CapabilityAnswer) -> str:
    """ "its mean of 44.1 mm lies 3.2 standard deviations from the nearer limit, 40 mm"."""
    spec, spreads = answer.specification, answer.spreads
    mean = with_unit(say_number(spreads.mean, spreads.overall), spec.unit)
    limit = min(
        (limit for limit in (spec.lower, spec.upper) if limit is not None), key=lambda limit: abs(limit - spreads.mean)
    )
    named = with_unit(say_number(limit), spec.unit)
    which = "its limit" if spec.lower is None or spec.upper is None else "the nearer limit"
    if answer.scale != "as read":
        return f"its mean is {mean}, {which} {named}"
    beyond = (spec.lower is not None and spreads.mean < spec.lower) or (
        spec.upper is not None and spreads.mean > spec.upper
    )
    if beyond:
        return f"its mean of {mean} lies beyond {which}, {named}"
    away = say_number(3 * answer.index.value, 1)
    return f"its mean of {mean} lies {away} standard deviations from {which}, {named}"


def _batches(answer: CapabilityAnswer) -> str:
    spreads, unit = answer.spreads, answer.specification.unit
    within = spreads.within or 0.0
    return (
        f"Batches differ by more than their pieces do: a standard deviation of "
        f"{with_unit(say_digits(spreads.between, 2), unit)} between batches, "
        f"{with_unit(say_digits(within, 2), unit)} within; indices over batches count both."
    )


def _cautions(answer: CapabilityAnswer) -> list[str]:
    batches = say_count(answer.spreads.batches, "batch")
    return [
        start(_CAUTIONS[caution].format(batches=batches, few=FEW, scale=answer.scale))
        for caution in answer.cautions
        if caution in _CAUTIONS
    ]


def _limits(specification: Specification) -> str:
    lower, upper, unit = specification.lower, specification.upper, specification.unit
    if lower is None:
        return f"at most {with_unit(say_number(upper), unit)}"
    if upper is None:
        return f"at least {with_unit(say_number(lower), unit)}"
    return f"{say_number(lower)} to {with_unit(say_number(upper), unit)}"


def _range(low: float, high: float) -> str:
    if high < SMALLEST:
        return "below 0.01 %"
    least = "0" if low < SMALLEST else say_digits(100 * low, 2)
    return f"{least} to {_percent(high)}"


def _percent(share: float) -> str:
    return f"{say_digits(100 * share, 2 if share < 0.995 else 4)} %"
