"""What do these amounts do together? The acid-base account, from the words on a packet.

Thin: reads amounts as they were typed, adds a kitchen's own measured values, and calls
``analysis.leavening``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analysis.leavening import serialise
from analysis.leavening.altitude import at_altitude
from analysis.leavening.balance import balance
from analysis.leavening.batter import TITRATION_END_PH, Amount
from analysis.leavening.curve import titration_curve
from analysis.leavening.gas import STANDARD_KPA, pressure_kpa
from analysis.leavening.ingredients import Ingredient, Spread
from analysis.leavening.names import POWDERS, find, weighed
from analysis.leavening.powder import check_powder, compose_powder
from analysis.leavening.release import bench_curve, stages
from analysis.leavening.strength import remaining_strength
from analysis.leavening.substances import Substance
from analysis.leavening.swap import powder_from_parts, swap_acid, swap_soda
from analysis.words import leavening as words
from tracker.errors import InputError
from tracker.intake.amounts import read_amount
from tracker.workflow.files import write_whole


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One answer twice: a JSON document and the words for a terminal."""

    document: dict[str, Any]
    text: str


OwnValues = Mapping[str, Substance | Ingredient]


def read_amounts(texts: Sequence[str], own: OwnValues | None = None) -> list[Amount]:
    """Amounts as typed, in order. Raises InputError or TrialDataError naming the one that is wrong."""
    if not texts:
        raise InputError(
            "No amounts were given.", try_this='crumbwise leaven balance "5 g baking soda" "240 g buttermilk"'
        )
    found: list[Amount] = []
    for number, text in enumerate(texts, start=1):
        written = read_amount(text, where=f"amount {number}")
        found += weighed(written.ingredient, grams=written.grams, millilitres=written.millilitres, own=own)
    return found


def own_value(text: str) -> tuple[str, Ingredient]:
    """A kitchen's own measurement, ``"my buttermilk: acidity=9.2 pH=4.4 water=0.9"``.

    ``acidity`` in meq in 100 g to pH 8.2. Raises InputError for a key or number that is wrong.
    """
    name, _, rest = text.partition(":")
    values: dict[str, float] = {}
    for word in rest.split():
        key, _, number = word.partition("=")
        try:
            values[key.casefold()] = float(number)
        except ValueError:
            raise InputError(f'"{word}" is no measured value.', where=text, try_this=OWN_EXAMPLE) from None
    if values.get("acidity", 0.0) > 0 and values.get("ph", 0.0) >= TITRATION_END_PH:
        raise InputError(
            f"Acidity is titrated up to pH {TITRATION_END_PH:g}, so what has pH {values['ph']:g} has none.",
            where=text,
            try_this="acidity=0, or measure the pH again",
        )
    unknown = set(values) - {"acidity", "ph", "water", "density"}
    if unknown or "acidity" not in values or "ph" not in values or not name.strip():
        raise InputError("A measured value needs a name, acidity and pH.", where=text, try_this=OWN_EXAMPLE)
    if not (0 <= values["acidity"] <= 2000 and 0 <= values["ph"] <= 14 and 0 <= values.get("water", 0) <= 1) or not (
        0 < values.get("density", 1.0) < 25  # g in 1 mL
    ):
        raise InputError("A measured value is impossible.", where=text, try_this=OWN_EXAMPLE)
    return name.strip().casefold(), Ingredient(
        name=name.strip(),
        acidity=Spread(values["acidity"], values["acidity"], values["acidity"]),
        ph=Spread(values["ph"], values["ph"], values["ph"]),
        buffer={"lactic": 0.6, "phosphoric": 0.3, "citric": 0.1},
        water=values.get("water", 0.9),
        density=values.get("density"),
        source="measured in this kitchen",
        sureness="A",
    )


OWN_EXAMPLE = '--own "my buttermilk: acidity=9.2 pH=4.4 water=0.9" (acidity in meq in 100 g)'


def pressure_of(altitude_m: float | None) -> float:
    return STANDARD_KPA if altitude_m is None else pressure_kpa(altitude_m)


def account(
    texts: Sequence[str],
    *,
    kitchen: OwnValues | None = None,
    celsius: float = 25.0,
    altitude_m: float | None = None,
    portions: float = 1.0,
    target_ph: float = 7.0,
    own: Sequence[str] = (),
) -> Answer:
    """Gas, what is left over, neutral dose, pH, sodium and aluminium of amounts.

    ``kitchen`` are values measured there, ``own`` those typed with the command; both come before the tables.
    """
    found = balance(
        read_amounts(texts, {**(kitchen or {}), **dict(own_value(text) for text in own)}),
        celsius=celsius,
        kilopascal=pressure_of(altitude_m),
        portions=portions,
        target_ph=target_ph,
    )
    return Answer(document=serialise.balance_json(found), text=words.balance_text(found))


def soda_curve(
    texts: Sequence[str],
    *,
    most_g: float | None = None,
    celsius: float = 25.0,
    altitude_m: float | None = None,
    picture: Path | None = None,
    colours: bool = False,
) -> Answer:
    """pH and free gas as soda is added; ``picture`` is a file for the curve as SVG."""
    found = titration_curve(read_amounts(texts), most_g=most_g, celsius=celsius, kilopascal=pressure_of(altitude_m))
    if picture is not None:
        from reports.figures.chemistry import draw_titration

        write_whole(picture, draw_titration(found, key="titration", colours=colours).svg)
    return Answer(document=serialise.curve_json(found), text=words.curve_text(found))


def neutral_dose(texts: Sequence[str], *, target_ph: float = 7.0, own: Sequence[str] = ()) -> Answer:
    """How much soda these acids need: by equivalence and by crumb pH."""
    found = balance(read_amounts(texts, dict(own_value(text) for text in own)), target_ph=target_ph)
    return Answer(document=serialise.neutral_json(found), text=words.neutral_text(found))


def swapped(text: str, name: str) -> Answer:
    """Replace an amount by another acid source or leavener, whichever it is."""
    amounts = read_amounts([text])
    if len(amounts) > 1:
        raise InputError(
            "A baking powder is several things at once.",
            where=text,
            try_this=f'crumbwise leaven swap "{text}" "cream of tartar" --parts',
        )
    if name.casefold().strip() in POWDERS:
        raise InputError(
            f"{name} brings its own acid, so it stands in for no single amount.",
            where=name,
            try_this='crumbwise leaven swap "10 g baking powder" "cream of tartar" --parts, the other way round',
        )
    item = find(name)
    leavener = isinstance(amounts[0].what, Substance) and amounts[0].what.carbon > 0
    swap = swap_soda(amounts[0], item) if leavener and isinstance(item, Substance) else swap_acid(amounts[0], item)
    return Answer(document=serialise.swap_json(swap), text=words.say_swap(swap))


def parts_of_powder(text: str, acid: str) -> Answer:
    """Soda, acid and starch in place of an amount of baking powder."""
    grams = sum(amount.grams for amount in read_amounts([text]))
    item = find(acid)
    if not isinstance(item, Substance):
        raise InputError(f"{item.name} is no dry acid.", where=acid, try_this='"cream of tartar"')
    parts = powder_from_parts(grams, item)
    return Answer(
        document={
            "schema_version": serialise.SCHEMA_VERSION,
            "out": text,
            "into": [serialise.amount_json(part) for part in parts],
        },
        text=f"In place of {text} take {words.say_amounts(parts)}.",
    )


def powder_of(texts: Sequence[str]) -> Answer:
    """Check a given powder."""
    if not texts:
        raise InputError(
            "Neither a mix to check nor an acid to compose from was given.",
            where="leaven powder",
            try_this='--acid "cream of tartar", or "30 g baking soda" "67 g cream of tartar" "20 g starch"',
        )
    found = check_powder(read_amounts(texts))
    return Answer(document=serialise.powder_json(found), text=words.powder_text(found))


def composed_powder(shares: Sequence[str], available_co2: float) -> Answer:
    """Compose a powder from acids written "cream of tartar" or "cream of tartar=0.6"."""
    acids: dict[str, float] = {}
    for text in shares:
        name, _, share = text.partition("=")
        try:
            acids[find(name).name] = float(share) if share else 1.0
        except ValueError:
            raise InputError(f'"{share}" is no share.', where=text, try_this='"cream of tartar=0.6"') from None
    found = compose_powder(acids, available_co2=available_co2)
    return Answer(document=serialise.powder_json(found), text=words.powder_text(found))


def release_of(texts: Sequence[str]) -> Answer:
    """When the gas of a mixture comes."""
    parts = _gas_by_acid(read_amounts(texts))
    found, curve = stages(parts), bench_curve(parts)
    return Answer(
        document={
            "schema_version": serialise.SCHEMA_VERSION,
            **serialise.stages_json(found),
            "bench_curve": [{"minutes": minutes, "share": share} for minutes, share in curve],
        },
        text=f"{words.say_stages(found)}\n\n{words.say_bench(curve)}",
    )


def _gas_by_acid(amounts: Sequence[Amount]) -> list[tuple[str, float]]:
    """(key of RELEASE, mmol of gas): every acid in step with its part; the rest waits for the oven.

    Soda without acid gives half of what it holds there, ammonium bicarbonate all.
    """
    soda = ammonium = 0.0
    parts: list[tuple[str, float]] = []
    for amount in amounts:
        if isinstance(amount.what, Substance) and amount.what.carbon:
            held = 1000 * amount.grams * amount.what.carbon / amount.what.molar_mass
            soda, ammonium = (soda, ammonium + held) if amount.what.ammonia else (soda + held, ammonium)
        elif isinstance(amount.what, Ingredient):
            parts.append(("at once", amount.what.acidity.typical * amount.grams / 100))
        elif amount.what.equivalent_mass is not None:
            parts.append((amount.what.release or "at once", 1000 * amount.grams / amount.what.equivalent_mass))
    acid = sum(gas for _, gas in parts)
    share = min(1.0, soda / acid) if acid > 0 else 0.0
    freed = [(key, gas * share) for key, gas in parts if gas > 0]
    return [*freed, ("heat alone", max(soda - acid, 0.0) / 2 + ammonium)]


def tables() -> Answer:
    """All substances and ingredients with their figures and sources."""
    return Answer(document=serialise.acids_json(), text=words.acids_text())


def place_at(altitude_m: float) -> Answer:
    found = at_altitude(altitude_m)
    return Answer(document=serialise.altitude_json(found), text=words.altitude_text(found))


def gas_test(pairs: Sequence[str], name: str, *, celsius: float, altitude_m: float | None = None) -> Answer:
    """Strength left from gas tests written "1 g: 260 ml"."""
    grams, millilitres = [], []
    for pair in pairs:
        mass, _, volume = pair.partition(":")
        try:
            grams.append(float(mass.casefold().replace("g", "")))
            millilitres.append(float(volume.casefold().replace("ml", "")))
        except ValueError:
            raise InputError(f'"{pair}" is no gas test.', where=pair, try_this='"1 g: 260 ml"') from None
    found = remaining_strength(
        millilitres,
        grams,
        co2_mmol_per_g=_fresh_gas_mmol_per_g(name),
        celsius=celsius,
        kilopascal=pressure_of(altitude_m),
    )
    return Answer(document=serialise.strength_json(found), text=words.strength_text(found))


def _fresh_gas_mmol_per_g(name: str) -> float:
    """Carbon dioxide that a gram of fresh leavener gives in plenty of acid, mmol."""
    parts = weighed(name, grams=1.0)
    gas = sum(1000 * a.grams * a.what.carbon / a.what.molar_mass for a in parts if isinstance(a.what, Substance))
    if gas <= 0:
        raise InputError(f"{name} gives no gas.", where=name, try_this='"baking soda" or "baking powder"')
    return gas
