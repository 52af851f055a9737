"""What can stand in for a leavener, when does its gas come, and how strong is it still?

Thin like ``tracker.workflow.leavening``: reads what was typed, calls ``analysis.leavening``.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from analysis.leavening import serialise
from analysis.leavening.altitude import at_altitude
from analysis.leavening.batter import Amount
from analysis.leavening.curve import titration_curve
from analysis.leavening.ingredients import Ingredient
from analysis.leavening.names import POWDERS, find, weighed
from analysis.leavening.powder import check_powder, compose_powder
from analysis.leavening.release import bench_curve, stages
from analysis.leavening.strength import remaining_strength
from analysis.leavening.substances import Substance
from analysis.leavening.swap import powder_from_parts, swap_acid, swap_soda
from analysis.words import leavening as words
from tracker.errors import InputError
from tracker.workflow.files import write_whole
from tracker.workflow.leavening import Answer, pressure_of, read_amounts


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
