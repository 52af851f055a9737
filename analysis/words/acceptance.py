"""How is it said what becomes of a batch, and how often the rule behind it is wrong?"""

from __future__ import annotations

from analysis.control.acceptance import (
    ACCEPT,
    HOLD,
    AttributesRule,
    CurvePoint,
    Disposition,
    Rule,
    VariablesRule,
    operating_curve,
    share_accepted,
)
from analysis.control.results import Specification
from analysis.words.numbers import say_count, say_digits, say_fixed, say_number, say_percent, with_unit

_VERDICTS = {ACCEPT: "accepted", HOLD: "held", "reject": "rejected"}
LITTLE = 0.005  # a share of held batches not worth naming
GOOD, BAD = 0.95, 0.10  # chances of acceptance at the producer's and the consumer's point


def say_disposition(disposition: Disposition, specification: Specification, *, batch: str) -> str:
    """ "Batch B-12 is held: 2 of 20 pieces lie outside 40 to 48 mm; with up to 1 it is accepted, with 3 rejected." """
    verdict = _VERDICTS[disposition.verdict]
    rule = disposition.rule
    if isinstance(rule, AttributesRule):
        outside = int(disposition.figure or 0)
        lie = "lies" if outside == 1 else "lie"
        return (
            f"Batch {batch} is {verdict}: {outside or 'none'} of {say_count(rule.pieces, 'piece')} {lie} outside "
            f"{say_limits(specification)}; {_up_to(rule)} it is accepted, with {_or_more(rule)} rejected."
        )
    limit = with_unit(say_number(disposition.limit), specification.unit)
    if disposition.figure is None:
        return (
            f"Batch {batch} is {verdict}: its {rule.pieces} pieces read all alike, so their distance from {limit} "
            "cannot be counted in standard deviations; read one digit more."
        )
    side = "beyond" if disposition.figure < 0 else "inside"
    away = _distance(abs(disposition.figure), rule)
    below = f"below {say_digits(rule.reject, 3)} rejected"
    return (
        f"Batch {batch} is {verdict}: its mean lies {away} standard deviations {side} {limit}; from "
        f"{say_digits(rule.accept, 3)} on it is accepted, {below}."
    )


def say_rule(rule: Rule) -> str:
    """What the rule asks, in a sentence."""
    taken = say_count(rule.pieces, "piece")
    are = "is" if rule.pieces == 1 else "are"
    if isinstance(rule, AttributesRule):
        held = ", else held" if rule.reject > rule.accept + 1 else ""
        return (
            f"{taken} {are} taken: {_up_to(rule)} outside the specification the batch is accepted, with "
            f"{_or_more(rule)} rejected{held}."
        )
    whose = "known" if rule.sigma is not None else "of their own"
    held = f", with less than {say_digits(rule.reject, 3)} rejected, else held" if rule.reject < rule.accept else ""
    else_rejected = "" if held else ", else rejected"
    return (
        f"{taken} {are} taken: when their mean lies at least {say_digits(rule.accept, 3)} standard deviations "
        f"({whose}) inside the nearer limit, the batch is accepted{held}{else_rejected}."
    )


def say_curve(rule: Rule) -> str:
    """What batches the rule lets through, at both ends of its operating curve."""
    good, bad = share_accepted(rule, GOOD), share_accepted(rule, BAD)
    one_side = "" if isinstance(rule, AttributesRule) else " (all beyond one limit)"
    held = max(point.hold for point in operating_curve(rule, [good, (good + bad) / 2, bad]))
    hold = f"; up to {_percent(held)} of the batches between are held" if held > LITTLE else ""
    return (
        f"A batch with {_percent(good)} of its pieces outside{one_side} is accepted 95 times in 100, "
        f"one with {_percent(bad)} only 10 times{hold}."
    )


def say_curve_point(point: CurvePoint) -> str:
    """ "1 % outside: accepted 94 %, rejected 6 %"."""
    held = f", held {say_percent(point.hold)}" if point.hold > LITTLE else ""
    rejected = say_percent(point.reject)
    return f"{_percent(point.share)} outside: accepted {say_percent(point.accept)}{held}, rejected {rejected}"


def say_limits(specification: Specification) -> str:
    """ "40 to 48 mm", "at most 48 mm"."""
    lower, upper, unit = specification.lower, specification.upper, specification.unit
    if lower is None:
        return f"at most {with_unit(say_number(upper), unit)}"
    if upper is None:
        return f"at least {with_unit(say_number(lower), unit)}"
    return f"{say_number(lower)} to {with_unit(say_number(upper), unit)}"


def _up_to(rule: AttributesRule) -> str:
    return "with none" if rule.accept == 0 else f"with up to {rule.accept}"


def _or_more(rule: AttributesRule) -> str:
    return f"{rule.reject} or more"


def _distance(away: float, rule: VariablesRule) -> str:
    """Two decimals, or as many as tell it from the rule's own figures."""
    for decimals in (2, 3, 4):
        said = say_fixed(away, decimals)
        if all(said != say_fixed(edge, decimals) for edge in (rule.accept, rule.reject)):
            return said
    return say_fixed(away, 2)


def _percent(share: float) -> str:
    return f"{say_digits(100 * share, 2)} %"
