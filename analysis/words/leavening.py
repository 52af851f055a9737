"""How is the acid-base account said?"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.words.numbers import (
    CELSIUS,
    as_written,
    join_words,
    say_fixed,
    say_level,
    say_number,
    say_percent,
    true_minus,
    with_warmth,
)

if TYPE_CHECKING:
    from analysis.leavening.altitude import Altitude
    from analysis.leavening.balance import Balance, PhRange
    from analysis.leavening.batter import Amount
    from analysis.leavening.cautions import Caution
    from analysis.leavening.curve import TitrationCurve
    from analysis.leavening.powder import Powder
    from analysis.leavening.release import ReleaseStages
    from analysis.leavening.strength import Strength
    from analysis.leavening.swap import Swap

WIDTH = 96
HARDLY = 0.1  # a smaller share of the acid left over is hardly any

# Pound, layer and sponge cakes and biscuits: 6.6 to 7.6 (bakery handbooks, read second-hand). The
# water model puts balanced phosphates up to a unit higher; it is not bent to agree.
MEASURED_CRUMBS = "crumbs in which soda and acid use each other up are measured from about pH 6.6 to 7.6"

# Effects of too much soda or acid: bakery textbooks and trade press; common practice.
CAUTIONS = {
    "soda left": (
        "{grams} g of soda ({share} of it) finds no acid. Expect a soapy or bitter taste, a yellow-brown crumb, "
        "faster browning and, in cookies, more spread."
    ),
    "acid left": "{meq} meq of acid find no soda. Expect a sour taste, a paler crust and a tighter crumb.",
    "no leavener": "Nothing here gives gas: there is no soda, no bicarbonate and no baking powder.",
    "no acid": (
        "There is no acid here. Cold, the soda gives no gas to be seen; above about {above} it gives up to half of "
        "what it holds and leaves washing soda behind."
    ),
    "alkaline crumb": "The crumb may land near pH {ph}: soapy above about 7.8, and brown.",
    "high without soda left": (
        "The model puts the crumb near pH {ph}, though by equivalence no soda is left over: phosphates and dairy give "
        "their last acid only near pH 8. With flour and egg, which it leaves out, "
        f"{MEASURED_CRUMBS}: believe a measured crumb, not this figure, before you change the dose."
    ),
    "sour crumb": "The crumb may land near pH {ph}: sour, pale and close.",
    "stretched": (
        "The water holds {strength} mol of ions in a kilogram: the pH model is stretched here and its range is widened."
    ),
    "solids": (
        "Phosphates of lime or alumina fall out here, which the pH model follows only roughly: its range is widened."
    ),
    "rough figures": "Rough figures were used for {names}. Measure your own and put them in.",
    "ammonia": (
        "Ammonium bicarbonate gives ammonia as well: only for thin, dry goods that bake through (below 5 % moisture), "
        "with the window open."
    ),
    "never close a jar": "Never close a jar, bottle or bag on soda and acid: the gas can burst it.",
    "aqueous model": (
        "This is a model of the watery part. Flour, egg and sugar are left out; they buffer, so a real batter may "
        "lie 0.3 to 0.5 pH away."
    ),
}


def say_caution(caution: Caution) -> str:
    facts = {
        name: value if isinstance(value, str) else say_percent(value) if name == "share" else say_number(value)
        for name, value in caution.facts.items()
    }
    if "ph" in caution.facts:
        facts["ph"] = say_fixed(float(caution.facts["ph"]), 1)
    facts["above"] = with_warmth("60", CELSIUS)
    return as_written(CAUTIONS[caution.key]).format(**facts)


def say_amounts(amounts: Sequence[Amount]) -> str:
    """ "5 g baking soda and 240 g buttermilk"."""
    parts = [f"{say_number(amount.grams)} g {amount.name}" for amount in amounts]
    return join_words(parts)


def say_ph(state: PhRange) -> str:
    spread = (
        "" if state.high - state.low < 0.05 else f" (range {say_fixed(state.low, 1)} to {say_fixed(state.high, 1)})"
    )
    return f"{say_fixed(state.value, 1)}{spread}"


def balance_headline(account: Balance) -> str:
    """The account in a sentence or two."""
    gas = account.gas
    if gas.available_mmol <= 0 and account.soda_g <= 0:
        first = "Nothing here gives gas."
    elif gas.available_mmol <= 0:
        first = "No gas is set free by acid."
    else:
        first = (
            f"{say_number(gas.available_ml)} mL of carbon dioxide can be set free ({say_number(gas.available_g)} g)."
        )
    if account.soda_g <= 0 and account.acid_meq <= 0:
        return first
    if account.soda_left_g > 0.005:
        second = f"{say_number(account.soda_left_g)} g of soda is left over."
    elif 0.05 < account.acid_left_meq < HARDLY * account.acid_meq:
        second = "Soda and acid all but use each other up."
    elif account.acid_left_meq > 0.05:
        more = account.neutral_soda.by_equivalence_g - account.soda_g
        second = f"Acid is left over: it would take {say_number(more)} g more soda to use it up."
    else:
        second = "Soda and acid use each other up."
    return f"{first} {second}"


def balance_text(account: Balance) -> str:
    gas, neutral = account.gas, account.neutral_soda
    by_ph = (
        f"the crumb is above pH {say_level(neutral.target_ph)} without any"
        if neutral.by_ph_g is None
        else f"{say_number(neutral.by_ph_g)} g for a crumb of pH {say_level(neutral.target_ph)} in the model"
    )
    rows = [
        balance_headline(account),
        "",
        f"Gas           {say_number(gas.available_mmol)} mmol by acid"
        f" ({say_number(gas.available_low_mmol)} to {say_number(gas.available_high_mmol)}),"
        f" {say_number(gas.available_ml)} mL at {say_level(gas.temperature_c)} °C"
        f" and {say_fixed(gas.pressure_kpa, 1)} kPa",
        f"              {say_number(gas.free_cold_ml)} mL free in the cold batter,"
        f" {say_number(gas.free_baked_ml)} mL at 95 °C",
        f"Soda          {say_number(account.soda_g)} g, left over {say_number(account.soda_left_g)} g",
        f"Acid          {say_number(account.acid_meq)} meq, left over {say_number(account.acid_left_meq)} meq",
        f"Neutral dose  {say_number(neutral.by_equivalence_g)} g soda uses up the acid"
        f" ({say_number(neutral.low_g)} to {say_number(neutral.high_g)}); {by_ph}",
        f"pH            mixed {say_ph(account.mixed_closed)}, bubbling {say_ph(account.mixed_open)},"
        f" crumb {say_ph(account.baked)}",
        f"In a portion  {say_number(account.sodium_mg)} mg sodium, {say_number(account.aluminium_mg)} mg aluminium",
        "",
    ]
    return "\n".join([*rows, *(_bullet(say_caution(caution)) for caution in account.cautions)])


def say_left_out_lines(names: Sequence[str]) -> str:
    """Which lines of a formula the account leaves out."""
    return f"Left out, since their acid is not known: {', '.join(names)}." if names else ""


FAR_APART = 0.2  # share by which the two neutral doses may differ before one is preferred


def neutral_text(account: Balance) -> str:
    """Both neutral doses, why they differ, and which to begin with."""
    neutral = account.neutral_soda
    if neutral.by_equivalence_g <= 0:
        return "Nothing here is sour: there is no acid to neutralise."
    first = (
        f"{say_number(neutral.by_equivalence_g)} g of soda uses up the acid "
        f"({say_number(neutral.low_g)} to {say_number(neutral.high_g)} g as the ingredients vary)."
    )
    if neutral.by_ph_g is None:
        return f"{first} The crumb lies above pH {say_level(neutral.target_ph)} without any soda."
    said = (
        f"{first} {say_number(neutral.by_ph_g)} g brings the crumb to pH {say_level(neutral.target_ph)}. "
        "The two differ because using up the acid ends near pH 8, where the last of it gives in."
    )
    if abs(neutral.by_ph_g / neutral.by_equivalence_g - 1) < FAR_APART:
        return said
    return (
        f"{said} They lie far apart here, and the pH is that of the watery part alone; with flour and egg, "
        f"{as_written(MEASURED_CRUMBS)}. Begin with the first and measure the crumb."
    )


def curve_text(curve: TitrationCurve) -> str:
    """Eleven rows of the curve and where the acid is used up."""
    every = max((len(curve.points) - 1) // 10, 1)
    rows = [f"{'soda g':>8} {'pH mixed':>9} {'pH crumb':>9} {'free mL':>8}  cabbage"]
    rows += [
        f"{say_fixed(p.soda_g, 2):>8} {say_fixed(p.ph_mixed, 2):>9} {say_fixed(p.ph_baked, 2):>9}"
        f" {say_fixed(p.free_ml, 0):>8}  {p.colour}"
        for p in curve.points[::every]
    ]
    return "\n".join([*rows, "", f"The acid is used up at {say_number(curve.neutral_g)} g of soda."])


def acids_text() -> str:
    """The table of acids: neutralising value, its kind, release and sureness."""
    from analysis.leavening.ingredients import INGREDIENTS
    from analysis.leavening.release import RELEASE
    from analysis.leavening.substances import SUBSTANCES

    rows = [f"{'g soda per 100 g':<32} {'value':>7}  kind        mixing/bench/oven  sure"]
    for substance in SUBSTANCES.values():
        value = substance.neutralising_value
        if value is None:
            continue
        release = RELEASE[substance.release or "at once"]
        when = "/".join(say_fixed(100 * share, 0) for share in (release.mixing, release.bench, release.oven))
        rows.append(
            f"{substance.name:<32} {say_fixed(value, 1):>7}  {substance.nv_kind:<10}  {when:<17}  {substance.sureness}"
        )
    for item in INGREDIENTS.values():
        value = item.neutralising_value.typical
        if value > 0:
            spread = f"{say_fixed(item.neutralising_value.low, 2)} to {say_fixed(item.neutralising_value.high, 2)}"
            rows.append(f"{item.name:<32} {say_fixed(value, 2):>7}  {spread:<10}  {'at once':<17}  {item.sureness}")
    rows.append("")
    rows.append("Sure: A sure, B good, C rough: measure your own. Sources: crumbwise leaven acids --json.")
    return "\n".join(rows)


def say_swap(swap: Swap) -> str:
    notes = []
    if abs(swap.water_g) > 0.5:
        notes.append(f"{say_fixed(abs(swap.water_g), 0)} g {'more' if swap.water_g > 0 else 'less'} water")
    if abs(swap.sodium_mg) > 1:
        notes.append(f"{say_fixed(abs(swap.sodium_mg), 0)} mg {'more' if swap.sodium_mg > 0 else 'less'} sodium")
    kept = "the same gas" if swap.note == "same gas" else "the same acid"
    tail = f"; {' and '.join(notes)}" if notes else ""
    return f"In place of {say_amounts((swap.out,))} take {say_amounts(swap.into)}: {kept}{tail}."


def say_bench(curve: Sequence[tuple[float, float]]) -> str:
    """Share of the gas freed as minutes pass on the bench."""
    rows = [
        f"{'min':>5} {'freed %':>8}",
        *(f"{say_level(minutes):>5} {say_fixed(100 * share, 0):>8}" for minutes, share in curve),
    ]
    return "\n".join([*rows, "On the bench, counted from wetting; what the batter keeps dissolved is in it."])


def say_stages(stages: ReleaseStages) -> str:
    return (
        f"{say_percent(stages.mixing)} of the gas comes in mixing, {say_percent(stages.bench)} on the bench, "
        f"{say_percent(stages.oven)} in the oven: {stages.acting}-acting."
    )


def powder_text(powder: Powder) -> str:
    rows = [f"{say_fixed(part.percent, 2):>6} %  {say_number(part.grams)} g {part.ingredient}" for part in powder.parts]
    left = (
        f"{say_fixed(powder.soda_left, 2)} % soda is left over."
        if powder.soda_left > 0.005
        else f"Acid for {say_fixed(powder.acid_left, 2)} % more soda is left over."
        if powder.acid_left > 0.005
        else "Soda and acid use each other up."
    )
    rules = [f"{name}: {'meets' if meets else 'misses'} the rule" for name, meets in powder.meets.items()]
    available, total = (say_fixed(share, 2) for share in (powder.available_co2, powder.total_co2))
    gas = f"{available} % available carbon dioxide of {total} % in all. {left}"
    return "\n".join([*rows, "", gas, "; ".join(rules), *([say_stages(powder.stages)] if powder.stages else [])])


def altitude_text(place: Altitude) -> str:
    cut = place.extension_cut
    rule = (
        f"An extension service cuts the powder by {say_level(100 * cut[0])} % at 7,000 ft, where its table ends."
        if cut is not None and place.altitude_m > 2200
        else "An extension service changes nothing below 3,000 ft."
        if cut is None
        else f"An extension service cuts the powder by {say_level(100 * cut[0])} to {say_level(100 * cut[1])} % here."
        if cut[0] != cut[1]
        else f"An extension service cuts the powder by {say_level(100 * cut[0])} % here."
    )
    return "\n".join(
        [
            f"At {true_minus(say_fixed(place.altitude_m, 0))} m the air presses with "
            f"{say_fixed(place.pressure_kpa, 1)} kPa and water boils at {say_fixed(place.boils_c, 1)} °C.",
            f"The same gas fills {say_fixed(place.expansion, 2)} times its volume: "
            f"{say_percent(place.keep_share)} of the leavener does.",
            rule,
        ]
    )


def strength_text(strength: Strength) -> str:
    return (
        f"{say_percent(strength.share)} of the full strength is left "
        f"(95 % interval {say_fixed(100 * strength.low, 0)} to {say_percent(strength.high)}, {strength.tests} tests)."
    )


def _bullet(sentence: str) -> str:
    return textwrap.fill(sentence, WIDTH, initial_indent="- ", subsequent_indent="  ")
