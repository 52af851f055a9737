"""What do these amounts do together? The acid-base account, from the words on a packet.

Thin: reads amounts as they were typed, adds a kitchen's own measured values, and calls
``analysis.leavening``. What else is asked of leaveners stands in ``leaveners``, so that a
balance loads no more than it needs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.leavening import serialise
from analysis.leavening.balance import balance
from analysis.leavening.batter import TITRATION_END_PH, Amount
from analysis.leavening.gas import STANDARD_KPA, pressure_kpa
from analysis.leavening.ingredients import Ingredient, measured
from analysis.leavening.names import weighed
from analysis.leavening.substances import SODA_MOLAR_MASS, Substance
from analysis.words import leavening as words
from analysis.words.numbers import join_words
from tracker.errors import InputError
from tracker.intake.amounts import read_amount

if TYPE_CHECKING:
    from tracker.workflow.reporting import Look, Paper


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
    name = name.strip()
    return name.casefold(), measured(
        name,
        values["acidity"] * SODA_MOLAR_MASS / 1000,
        values.get("water"),
        values["ph"],
        values.get("density"),
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
    report: Path | None = None,
    look: Look | None = None,
    paper: Paper = "A4",
    command: Sequence[str] = (),
) -> Answer:
    """Gas, what is left over, neutral dose, pH, sodium and aluminium of amounts.

    ``kitchen`` are values measured there, ``own`` those typed with the command; both come before the tables.
    ``report`` is a file for the same account as a page, written as ``look`` says, made again by ``command``.
    """
    amounts = read_amounts(texts, {**(kitchen or {}), **dict(own_value(text) for text in own)})
    found = balance(
        amounts,
        celsius=celsius,
        kilopascal=pressure_of(altitude_m),
        portions=portions,
        target_ph=target_ph,
    )
    if report is not None:
        from tracker.workflow.balance_pages import write_balance

        write_balance(
            report,
            found,
            amounts,
            command=command,
            title=f"Balance of {join_words(texts)}",
            celsius=celsius,
            kilopascal=pressure_of(altitude_m),
            look=look,
            paper=paper,
        )
    return Answer(document=serialise.balance_json(found), text=words.balance_text(found))


def neutral_dose(texts: Sequence[str], *, target_ph: float = 7.0, own: Sequence[str] = ()) -> Answer:
    """How much soda these acids need: by equivalence and by crumb pH."""
    found = balance(read_amounts(texts, dict(own_value(text) for text in own)), target_ph=target_ph)
    return Answer(document=serialise.neutral_json(found), text=words.neutral_text(found))
