"""How is a plan that is only proposed said on a page: what it takes, what it can see, what another would cost?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from analysis.designs.trying import Option, Sureness
from analysis.words.advice import say_reason, say_resets
from analysis.words.numbers import say_fixed, say_list, say_number, say_setting, start, with_unit
from analysis.words.plans import say_chance

if TYPE_CHECKING:
    from analysis.designs.advice import Advice
    from analysis.leavening.runs import RunChemistry

Facts = tuple[tuple[str, str], ...]
KILOGRAM = 1000.0


def say_size_facts(bakes: int, days: int | None, flour_g: float | None, money: float | None) -> Facts:
    """What the plan takes."""
    facts = [("Bakes", str(bakes))]
    if days is not None:
        facts.append(("Days", str(days)))
    if flour_g is not None:
        facts.append(("Flour", say_weight(flour_g)))
    if money is not None:
        facts.append(("Ingredients cost", say_fixed(money, 2)))
    return tuple(facts)


def say_weight(grams: float) -> str:
    """ "7.2 kg" or "450 g"."""
    if grams >= KILOGRAM:
        return f"{say_number(grams / KILOGRAM)} kg"
    return f"{say_number(grams)} g"


def say_unpriced(names: Sequence[str]) -> str:
    """Why no cost stands there though the kitchen keeps prices."""
    return f"What it costs is not known: there is no price of {say_list(list(names))}."


def say_seen(sure: Sureness) -> str:
    """ "± 1.8 mm; a difference of 3 mm would be seen in 86 of 100 trials"."""
    if sure.half_width is None:
        return "nobody can say yet how closely"
    known = with_unit(f"± {say_number(sure.half_width, sure.half_width)}", sure.unit)
    if sure.power is None or sure.matters is None:
        return known
    matters = with_unit(say_number(sure.matters), sure.unit)
    if sure.same:
        return f"{known}; two that are alike are found so, within {matters}, in {say_chance(sure.power)} trials"
    return f"{known}; a difference of {matters} would be seen in {say_chance(sure.power)} trials"


def compared(other: Option, chosen: Option) -> Facts:
    """Name and value of another design, with what it takes more or less than the chosen one."""
    facts = [("Bakes", _beside(other.bakes, chosen.bakes))]
    if other.days is not None and chosen.days is not None:
        facts.append(("Days", _beside(other.days, chosen.days)))
    facts += [(start(each.response), say_seen(each)) for each in other.sureness]
    facts.append(("Told apart", told_apart(other)))
    resets = say_resets(other, chosen).strip()
    if resets:
        facts.append(("Set anew", resets))
    return tuple(facts)


def told_apart(option: Option) -> str:
    """What of it is mixed with what, in a sentence or two."""
    words = option.plan.design.alias_words
    days = " It cannot take the days out." if option.days_in_error else ""
    if not words:
        return f"Each effect that it asks for stands by itself.{days}"
    more = len(words) - 1
    rest = f" {more} more such {'sentence stands' if more == 1 else 'sentences stand'} in its plan." if more else ""
    return f"{words[0]}{rest}{days}"


def say_put_first(advice: Advice) -> str | None:
    """Why it is proposed though a plan beside it sees the difference with fewer bakes or days; None without one."""
    chosen = advice.chosen
    smaller = [other for other in advice.others if other.good and _smaller(other, chosen)]
    lower = [other for other in smaller if other.tier > chosen.tier]
    if not lower:
        return None
    ladders = [other for other in (chosen, *lower) if other.why.key == "a ladder of doses"]
    if len(ladders) == 1 + len(lower):
        fewer = " or ".join(str(each) for each in sorted({other.why.facts["doses"] for other in lower}))
        doses = chosen.why.facts["doses"]
        because = f"this one is put first because {doses} doses show the shape of the curve better than {fewer} doses"
    elif all(other.days_in_error for other in lower):
        because = "this one is put first because it can take the days out"
    else:
        because = "this one is put first because its answer takes less for granted"
    return f"A plan below sees the difference with fewer bakes or days; {because}."


def _smaller(other: Option, chosen: Option) -> bool:
    days = (other.days or 0) - (chosen.days or 0)
    return other.bakes < chosen.bakes or (other.bakes == chosen.bakes and days < 0)


def say_range(name: str, unit: str, plausible: Sequence[float] | None) -> str:
    """What reading is asked about at the bench."""
    if not plausible:
        return f"{start(name)}: every reading is taken without a question."
    ends = with_unit(f"{say_number(plausible[0])} to {say_number(plausible[1])}", unit)
    return f"{start(name)}: a reading outside {ends} is kept, but the bench asks whether it is right."


def say_why(option: Option) -> str:
    return say_reason(option.why)


def _beside(other: int, chosen: int) -> str:
    if other == chosen:
        return f"{other}, as many"
    return f"{other}, {abs(other - chosen)} {'more' if other > chosen else 'fewer'}"


def say_settings(settings: Mapping[str, Any], units: Mapping[str, str]) -> str:
    """ "soda 1.5 % flour, fat butter"."""
    return say_list([f"{name} {said_setting(value, units.get(name, ''))}" for name, value in settings.items()])


def said_setting(value: Any, unit: str) -> str:
    return str(value) if isinstance(value, str) else say_setting(value, unit)


def chemistry_row(chemistry: RunChemistry) -> tuple[str, ...]:
    """Gas, soda left over, acid left over, pH of the crumb, as ``CHEMISTRY`` heads them."""
    ph = "not known" if chemistry.predicted_ph is None else say_fixed(chemistry.predicted_ph, 1)
    return (
        say_fixed(chemistry.gas_ml, 0),
        say_fixed(chemistry.soda_left_g, 2),
        say_fixed(chemistry.acid_left_meq, 1),
        ph,
    )


CHEMISTRY = ("Gas, mL", "Soda left over, g", "Acid left over, meq", "pH of the crumb")
