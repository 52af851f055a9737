"""How does a page tell the acid-base account: the answer, the way to neutral, how it was worked out?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.words.leavening import HARDLY, balance_headline, neutral_text, say_ph
from analysis.words.numbers import CELSIUS, join_words, say_fixed, say_level, say_number, with_warmth

if TYPE_CHECKING:
    from analysis.leavening.balance import Balance, PhRange

SURENESS = {"A": "sure", "B": "good", "C": "rough"}
ANY_SODA_G, ANY_ACID_MEQ = 0.005, 0.05  # below these nothing is said to be left over
NOTHING_TO_DO = "By equivalence nothing is left over: there is nothing to be changed."
ALL_LINES = "What each ingredient brings; the soda of baking powder counts as soda"
METHOD = (
    "By equivalence, each gram of acid uses up its neutralising value of soda, and what is not used up is left over. "
    "The pH comes from a charge balance of everything dissolved in the water, with activities after Davies: mixed with "
    "all gas kept in, bubbling with carbon dioxide at the pressure of the air, and as a crumb at a small pressure of "
    "carbon dioxide. Ranges hold nine in ten mixtures drawn from the spread of the ingredients."
)
WATERY = "This is a model of the watery part: flour, egg and sugar are left out, and a real batter may lie elsewhere."


def say_balance_answer(account: Balance) -> str:
    """Gas, what is left over, and the pH of the crumb with its range."""
    return f"{balance_headline(account)} In a model of the watery part the crumb comes to pH {say_ph(account.baked)}."


def say_way_to_neutral(account: Balance, tartar_value: float) -> tuple[str, ...]:
    """What to change so that nothing is left over. ``tartar_value``: g of soda that 100 g cream of tartar use up."""
    neutral = account.neutral_soda.by_equivalence_g
    if account.soda_left_g > ANY_SODA_G:
        acid = 100 * account.soda_left_g / tartar_value
        way = [f"Keep the soda and add {say_number(acid)} g of cream of tartar: then all of the soda gives its gas."]
        if neutral > ANY_SODA_G:
            less = (
                f"Take {say_number(account.soda_left_g)} g less soda ({say_number(neutral)} g in all): "
                "the gas that acid sets free stays the same."
            )
            way = [less, way[0].replace("Keep", "Or keep", 1)]
    elif account.acid_left_meq > ANY_ACID_MEQ:
        more = neutral - account.soda_g
        if account.acid_left_meq < HARDLY * account.acid_meq:
            way = [f"Hardly anything is left over: {say_number(more)} g more soda would use up the last of the acid."]
        else:
            way = [f"Add {say_number(more)} g of soda ({say_number(neutral)} g in all): it gives gas as well."]
    else:
        way = [NOTHING_TO_DO]
    return (*way, *((neutral_text(account),) if neutral > 0 else ()))


def say_account_rows(account: Balance) -> tuple[tuple[str, str, str], ...]:
    """(what, how much, range): every number of the account."""
    gas = account.gas
    to_ml = gas.available_ml / gas.available_mmol if gas.available_mmol > 0 else 0.0
    ends = [say_number(end * to_ml) for end in (gas.available_low_mmol, gas.available_high_mmol)]
    place = f"{with_warmth(say_level(gas.temperature_c), CELSIUS)} and {say_fixed(gas.pressure_kpa, 1)} kPa"
    neutral = account.neutral_soda
    return (
        (f"Gas that acid sets free, at {place}", f"{say_number(gas.available_ml)} mL", _to(ends[0], ends[1])),
        ("Gas free in the cold batter", f"{say_number(gas.free_cold_ml)} mL", "–"),
        (f"Gas free at {with_warmth('95', CELSIUS)}", f"{say_number(gas.free_baked_ml)} mL", "–"),
        ("Soda", f"{say_number(account.soda_g)} g", "–"),
        ("Soda left over", f"{say_number(account.soda_left_g)} g", "–"),
        ("Acid", f"{say_number(account.acid_meq)} meq", "–"),
        ("Acid left over", f"{say_number(account.acid_left_meq)} meq", "–"),
        (
            "Soda that uses up the acid",
            f"{say_number(neutral.by_equivalence_g)} g",
            _to(say_number(neutral.low_g), say_number(neutral.high_g)),
        ),
        ("pH, mixed with all gas kept in", *_ph(account.mixed_closed)),
        ("pH, bubbling", *_ph(account.mixed_open)),
        ("pH of the crumb", *_ph(account.baked)),
        (f"Sodium {_each(account)}", f"{say_number(account.sodium_mg)} mg", "–"),
        (f"Aluminium {_each(account)}", f"{say_number(account.aluminium_mg)} mg", "–"),
    )


def say_left_out(names: tuple[str, ...]) -> str:
    """Lines of a formula whose acid is not known."""
    return f"Left out of the account, since their acid is not known: {join_words(names)}." if names else ""


def _each(account: Balance) -> str:
    return "in all" if account.portions == 1 else f"in one of {say_level(account.portions)} portions"


def _ph(state: PhRange) -> tuple[str, str]:
    return say_fixed(state.value, 1), _to(say_fixed(state.low, 1), say_fixed(state.high, 1))


def _to(low: str, high: str) -> str:
    return "–" if low == high else f"{low} to {high}"
