"""How is the chemistry of a trial's runs said?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from analysis.words.leavening import MEASURED_CRUMBS
from analysis.words.numbers import (
    half_width,
    say_fixed,
    say_interval,
    say_level,
    say_list,
    say_number,
    say_percent,
    with_unit,
)

if TYPE_CHECKING:
    from analysis.leavening.measured import OddPh
    from analysis.leavening.runs import RunChemistry
    from analysis.leavening.tags import TagLink
    from analysis.questions import Response
    from analysis.results import ChemistryPart


def say_senseless(wrong: Sequence[tuple[Mapping[str, Any], RunChemistry]], treatments: int) -> tuple[str, ...]:
    """Treatments whose crumb would be soapy or sour, and where the neutral point lies."""
    settings, chemistry = max(wrong, key=lambda pair: pair[1].soda_left_g)
    told = say_list([f"{name} {say_level(value)}" for name, value in settings.items()])
    ph = "" if chemistry.predicted_ph is None else f", crumb near pH {say_fixed(chemistry.predicted_ph, 1)}"
    first = (
        f"{len(wrong)} of {treatments} treatments fall outside what tastes right by the acid-base account; "
        f"the furthest is {told}: {say_number(chemistry.soda_left_g)} g of soda left over in 100 g of flour{ph}."
    )
    account = chemistry.account
    if account is None or account.neutral_soda.by_equivalence_g <= 0:
        return (first,)
    per_100 = chemistry.neutral_percent
    return (
        first,
        f"With its acid, soda is used up at {say_number(per_100)} % of flour: a range from "
        f"{say_number(0.5 * per_100)} to {say_number(1.5 * per_100)} % would lie around the neutral point.",
    )


def say_chemistry(part: ChemistryPart, response: Response, confidence: float = 0.95) -> str:
    """Does chemistry explain what a category did?"""
    if part.size is None:
        return f"Whether chemistry explains what {part.category} did to {response.name} cannot be told: {part.reason}."
    step = half_width(part.low, part.high)
    size = with_unit(say_number(part.size, step), response.unit)
    interval = say_interval(part.low, part.high, confidence)
    at_equal = f"at equal gas and left-over soda, {part.a} and {part.b} differ by {size} ({interval})"
    if part.verdict == "explains":
        return f"Chemistry explains what {part.category} did to {response.name}: {at_equal}, less than what matters."
    if part.verdict == "does not explain":
        return f"Chemistry does not explain all that {part.category} did to {response.name}: {at_equal}."
    return f"Whether chemistry explains what {part.category} did to {response.name} stays open: {at_equal}."


CHEMISTRY_FOR = "For 100 g of flour; gas that the acid can set free at 25 °C and sea level."

OF_THE_CRUMB = "The pH is that of the watery part of the crumb, baked and cooled, with most of its gas gone."
# pK2 of phosphoric acid is 7.2 and dairy is titrated to pH 8.2 to 8.3, so by equivalence acid is left up to there.
ACID_ABOVE_7 = (
    "Acid left over beside a pH above 7 is no slip: phosphates and dairy give their last acid only near pH 8, and "
    f"there, not at pH 7, nothing is left over. Flour and egg, which this leaves out, bring it "
    f"lower: {MEASURED_CRUMBS}."
)
NO_WATER = (
    "Where the pH is not known, no line of the formula is known to bring water, and without water there is none "
    "to compute."
)


def say_about_ph(accounts: Sequence[RunChemistry]) -> tuple[str, ...]:
    """What to read beside these accounts: what the pH is of, why it may lie above 7, where there is none."""
    said = []
    if any(each.predicted_ph is not None for each in accounts):
        said.append(OF_THE_CRUMB)
    if any(each.predicted_ph is not None and _acid_above_7(each) for each in accounts):
        said.append(ACID_ABOVE_7)
    if any(each.predicted_ph is None for each in accounts):
        said.append(NO_WATER)
    return tuple(said)


def _acid_above_7(chemistry: RunChemistry) -> bool:
    """As it is shown: to one decimal."""
    return round(chemistry.acid_left_meq, 1) > 0 and round(chemistry.predicted_ph or 0.0, 1) > 7


MODEL_CAUTION = (
    "Gas is what the acid can set free, at 25 °C and sea level. The pH is that of the watery part; flour, egg and "
    f"sugar are left out, so look at the differences more than at the level: with them, {MEASURED_CRUMBS}."
)


def say_tag_link(link: TagLink) -> str:
    """Does a taste word come from bakes with more of something?"""
    if link.follows == "open":
        return (
            f'Whether "{link.tag}" follows {link.column} stays open: more of it in {say_percent(link.share)} of pairs '
            f"(95 % interval {say_fixed(100 * link.low, 0)} to {say_percent(link.high)}); 50 % would be chance."
        )
    turned = link.follows == "less"
    share, low, high = (1 - link.share, 1 - link.high, 1 - link.low) if turned else (link.share, link.low, link.high)
    return (
        f'Bakes noted "{link.tag}" had {_degree(link)} {link.column} than the others in {say_percent(share)} of pairs '
        f"(95 % interval {say_fixed(100 * low, 0)} to {say_percent(high)})."
    )


def _degree(link: TagLink) -> str:
    """There is more soda, but a higher pH."""
    if "pH" in link.column:
        return "a higher" if link.follows == "more" else "a lower"
    return link.follows


def say_odd_ph(odd: Sequence[OddPh]) -> str:
    """Which bakes do not have the pH that their weights lead one to expect?"""
    if not odd:
        return "No bake's measured pH stands out from what its fellows lead one to expect."
    told = "; ".join(
        f"bake {each.bake} measured {say_fixed(each.measured, 2)}, {say_fixed(abs(each.gap), 1)} "
        f"{'above' if each.gap > 0 else 'below'} what its fellows lead one to expect"
        for each in odd
    )
    return f"Look here: {told}. Was it weighed right, and is the leavener fresh?"
