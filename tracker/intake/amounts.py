"""How much of what did the baker mean?

Amounts as they are written in a kitchen: "5 g baking soda", "240 g buttermilk",
"1/2 tsp soda", "1 1/2 cups milk", "0,5 kg flour". Mass becomes grams, volume millilitres;
what a spoonful weighs depends on the ingredient and is not decided here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from tracker.errors import InputError
from tracker.intake.numbers import plain_number

# International avoirdupois pound; US cup and spoons (a cup is 236.588 mL).
GRAMS = {"g": 1.0, "kg": 1000.0, "mg": 0.001, "oz": 28.349523125, "lb": 453.59237}
MILLILITRES = {"ml": 1.0, "cl": 10.0, "dl": 100.0, "l": 1000.0, "tsp": 4.92892, "tbsp": 14.7868, "cup": 236.588}
SPELLINGS = {
    "gram": "g",
    "grams": "g",
    "gr": "g",
    "kilo": "kg",
    "kilogram": "kg",
    "kilograms": "kg",
    "milligram": "mg",
    "milligrams": "mg",
    "ounce": "oz",
    "ounces": "oz",
    "lbs": "lb",
    "pound": "lb",
    "pounds": "lb",
    "millilitre": "ml",
    "millilitres": "ml",
    "milliliter": "ml",
    "milliliters": "ml",
    "litre": "l",
    "litres": "l",
    "liter": "l",
    "liters": "l",
    "teaspoon": "tsp",
    "teaspoons": "tsp",
    "tsps": "tsp",
    "tablespoon": "tbsp",
    "tablespoons": "tbsp",
    "tbsps": "tbsp",
    "cups": "cup",
}
VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_PARTS = re.compile(
    r"(?P<number>[+-]?[0-9.,]+(?:\s+[0-9]{1,4}/[0-9]{1,4})?|[0-9]{1,4}/[0-9]{1,4})\s*(?P<unit>[A-Za-z]+)\.?\s+(?:of\s+)?(?P<what>\S.*)"
)
EXAMPLE = '"5 g baking soda" or "1/2 tsp baking soda"'


@dataclass(frozen=True, kw_only=True)
class WrittenAmount:
    """``grams`` for a mass, ``millilitres`` for a volume; the other one is None."""

    ingredient: str
    grams: float | None
    millilitres: float | None
    unit: str
    quantity: float


def read_amount(text: str, *, where: str = "") -> WrittenAmount:
    """The amount that ``text`` means. Raises InputError when it has no number, unit or ingredient."""
    typed = text.strip()
    for sign, plain in VULGAR.items():
        typed = typed.replace(sign, f" {plain}")
    found = _PARTS.fullmatch(typed.strip())
    if not found:
        raise InputError(f'"{text.strip()}" is no amount of something.', where=where, try_this=EXAMPLE)
    unit = _unit(found["unit"], text, where)
    quantity = _quantity(found["number"], text, where)
    return WrittenAmount(
        ingredient=" ".join(found["what"].split()),
        grams=quantity * GRAMS[unit] if unit in GRAMS else None,
        millilitres=quantity * MILLILITRES[unit] if unit in MILLILITRES else None,
        unit=unit,
        quantity=quantity,
    )


def _unit(word: str, text: str, where: str) -> str:
    if word == "T":
        return "tbsp"
    if word == "t":
        return "tsp"
    low = word.casefold()
    unit = SPELLINGS.get(low, low)
    if unit not in GRAMS and unit not in MILLILITRES:
        raise InputError(
            f'"{word}" in "{text.strip()}" is no unit of weight or volume.',
            where=where,
            try_this=f"one of {', '.join([*GRAMS, *MILLILITRES])}, as in {EXAMPLE}",
        )
    return unit


def _quantity(number: str, text: str, where: str) -> float:
    total = 0.0
    for part in number.split():
        if "/" in part:
            top, _, bottom = part.partition("/")
            if int(bottom) == 0:
                raise InputError(f'"{text.strip()}" divides by nothing.', where=where, try_this=EXAMPLE)
            total += float(Fraction(int(top), int(bottom)))
            continue
        value = plain_number(part)
        if not isinstance(value, float):
            raise InputError(f'In "{text.strip()}": {value[0]}', where=where, try_this=value[1])
        total += value
    if total < 0:
        raise InputError(f'"{text.strip()}" is less than nothing.', where=where, try_this=EXAMPLE)
    return total
