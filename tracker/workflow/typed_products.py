"""What makes a product of what was typed on a page: its name, what is read of each batch, what it has to meet?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tracker.errors import InputError
from tracker.intake.numbers import number_text, read_number
from tracker.store import Store
from tracker.workflow.product_views import ProductView
from tracker.workflow.products import add_product

MEANT = ",=:"  # signs that part the words of a specification


@dataclass(frozen=True, kw_only=True)
class TypedReading:
    """One line as it was typed; the bounds may be empty."""

    name: str = ""
    unit: str = ""
    lower: str = ""
    upper: str = ""
    target: str = ""

    @property
    def empty(self) -> bool:
        return not any((self.name.strip(), self.lower.strip(), self.upper.strip(), self.target.strip()))


def add_typed_product(
    store: Store, name: str, readings: Sequence[TypedReading], *, trial: str = "", person: int
) -> ProductView:
    """Make the product. Raises InputError for what makes no sense, else as ``add_product``."""
    filled = [each for each in readings if not each.empty]
    if not filled and not trial:
        raise InputError(
            "Nothing says what is read of a batch.", where="new product", try_this="one reading, such as rise height"
        )
    texts = [_said(each) for each in filled]
    return add_product(store, name, trial=trial or None, specs=texts, person=person)


def _said(reading: TypedReading) -> str:
    for what, words in (("name", reading.name), ("unit", reading.unit)):
        if any(sign in words for sign in MEANT):
            raise InputError(
                f'The {what} "{words.strip()}" holds a comma, a colon or an equals sign.',
                where="new product",
                try_this="it without them",
            )
    if not reading.name.strip():
        raise InputError(
            "A reading has numbers, but no name.", where="new product", try_this="a name, such as rise height"
        )
    said = [f"unit={reading.unit.strip()}"] if reading.unit.strip() else []
    for word, typed in (("lower", reading.lower), ("upper", reading.upper), ("target", reading.target)):
        if typed.strip():
            value = read_number(typed, what=f"{reading.name.strip()}, {word}", where="new product")
            said.append(f"{word}={number_text(value)}")
    return f"{reading.name.strip()}:{','.join(said)}" if said else reading.name.strip()
