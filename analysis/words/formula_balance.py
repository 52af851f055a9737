"""What is said of a formula's balance beside its amounts, per 100 g of flour?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.words.leavening import balance_headline, say_caution, say_left_out_lines, say_ph
from analysis.words.numbers import say_fixed, say_level, say_number

if TYPE_CHECKING:
    from analysis.leavening.balance import Balance
    from analysis.leavening.runs import RunChemistry


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


def run_facts(chemistry: RunChemistry) -> tuple[tuple[str, str], ...]:
    """The same of one treatment of a trial, for 100 g of flour; gas at 25 °C."""
    facts = [
        ("Gas for 100 g of flour", f"{say_number(chemistry.gas_ml)} mL"),
        ("Soda left over", f"{say_number(chemistry.soda_left_g)} g"),
        ("Acid left over", f"{say_number(chemistry.acid_left_meq)} meq"),
    ]
    if chemistry.predicted_ph is not None:
        facts.append(("pH of the crumb by acid account", say_fixed(chemistry.predicted_ph, 1)))
    return tuple(facts)


def cost_fact(cost: float) -> tuple[str, str]:
    """What the ingredients of one bake cost, in the kitchen's own money."""
    return ("Ingredients of one bake cost", say_fixed(cost, 2))
