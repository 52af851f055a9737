"""What is said of a formula's balance beside its amounts, per 100 g of flour?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.words.leavening import balance_headline, say_caution, say_left_out_lines, say_ph
from analysis.words.numbers import say_level, say_number

if TYPE_CHECKING:
    from analysis.leavening.balance import Balance


def balance_facts(account: Balance) -> tuple[tuple[str, str], ...]:
    """Name and value: gas, what is left over, pH of the crumb."""
    gas = account.gas
    return (
        ("Gas", f"{say_number(gas.available_ml)} mL by acid, at {say_level(gas.temperature_c)} °C"),
        ("Soda left over", f"{say_number(account.soda_left_g)} g"),
        ("Acid left over", f"{say_number(account.acid_left_meq)} meq"),
        ("pH of the crumb", say_ph(account.baked)),
        ("Soda that uses up the acid", f"{say_number(account.neutral_soda.by_equivalence_g)} g"),
    )


def balance_said(account: Balance, left_out: Sequence[str]) -> tuple[str, ...]:
    """The headline first, then what is to be read with it."""
    rest = [say_left_out_lines(left_out), *(say_caution(caution) for caution in account.cautions)]
    return (balance_headline(account), *(each for each in rest if each))
