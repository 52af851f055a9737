"""Do pH, gas and the oven's figures tell leavener, weighing and oven apart, and say what is missing?"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.control.causes import find_causes
from analysis.control.chemistry import RISE_FOR_GAS
from analysis.control.results import BatchSeries
from analysis.control.why_results import MadeWith
from analysis.words.cause_chemistry import say_causes_chemistry, say_missing, say_too_few

N = 90
PLACE = np.arange(N)
POWDER = ("P-1",) * 30 + ("P-2",) * 40 + ("P-3",) * 20
AGE = np.where((PLACE >= 30) & (PLACE < 70), PLACE - 29, 0) / 40
ROLES = {"rise": "rise", "pH": "pH", "gas": "gas", "oven temp": "oven temperature", "loss": "bake loss"}


def ask(*, every=3, drop=4.0, roles=ROLES, **beside):
    """The rise falls by ``drop`` with the age of P-2; ``beside`` maps a name to (usual, what it moves by, scatter)."""
    chance = np.random.Generator(np.random.PCG64(8))
    values = tuple((round(float(43 - drop * age + chance.normal(0, 0.9)), 1),) for age in AGE)
    measured = {
        name.replace("_", " "): tuple(
            (float(usual + moves * age + chance.normal(0, scatter)),) if place % every == 0 else ()
            for place, age in enumerate(AGE)
        )
        for name, (usual, moves, scatter) in beside.items()
    }
    batches = tuple(f"B{place + 1}" for place in range(N))
    log = MadeWith(
        series=BatchSeries(response="rise", unit="mm", batches=batches, values=values),
        lots={"powder": POWDER},
        beside=measured,
        units={"oven temp": "°C", "gas": "ml/g"},
        roles=roles,
    )
    why = find_causes(log)
    (change,) = why.changes
    assert change.cause.level == "P-2"
    return why, change, why.chemistry[0]


STILL = {"pH": (7.1, 0, 0.04), "gas": (68, 0, 1.5), "oven_temp": (200, 0, 2.0)}


@pytest.mark.parametrize(
    ("moved", "verdict", "said"),
    [
        ({"gas": (68, -14, 1.5)}, "leavener weak", "lost strength, soda and acid alike"),
        ({"pH": (7.1, -0.4, 0.04)}, "amount wrong", "look at the weighing"),
        ({"pH": (7.1, 0.4, 0.04), "gas": (68, -14, 1.5)}, "amount or parts", "one part of the leavener"),
        ({"oven_temp": (200, -15, 2.0)}, "oven", "the oven is not"),
        ({"loss": (12, -2.5, 0.3)}, "oven", "the oven is not"),
        ({}, "not the leavening", "look at flour"),
        ({"gas": (68, 14, 1.5)}, "open", "does not yet tell"),  # more gas, less rise
    ],
)
def test_what_moved_says_where_to_look(moved, verdict, said):
    why, change, chemistry = ask(**(STILL | moved))
    assert chemistry.verdict == verdict
    assert chemistry.missing == ()
    assert said in say_causes_chemistry(chemistry, change, why)


@pytest.mark.parametrize("gone", ["pH", "gas"])
def test_without_ph_or_gas_the_verdict_is_open_and_what_is_missing_is_named(gone):
    beside = {name: column for name, column in (STILL | {"gas": (68, -14, 1.5)}).items() if name != gone}
    _, _, chemistry = ask(**beside)
    assert chemistry.verdict == "open"
    assert chemistry.missing == (gone,)
    assert f"Measure {gone} every few batches" in say_missing(chemistry)


def test_nothing_measured_beside_names_all_three():
    why, change, chemistry = ask()
    assert chemistry.verdict == "open"
    assert chemistry.missing == ("pH", "gas", "oven temperature")
    assert say_causes_chemistry(chemistry, change, why) == ""


def test_a_name_without_a_role_is_not_read():
    _, _, chemistry = ask(gas=(68, -14, 1.5), roles={"rise": "rise"})
    assert chemistry.moved == ()


def test_readings_too_few_to_tell_are_said_to_be_so():
    _, _, chemistry = ask(every=30, **STILL)
    assert set(chemistry.too_few) == {"pH", "gas", "oven temp"}
    assert "was read too seldom" in say_too_few(chemistry)


def test_the_gas_that_moved_is_covered_and_held_against_what_the_rise_would_take():
    _, change, chemistry = ask(**(STILL | {"gas": (68, -14, 1.5)}))
    gas = next(each for each in chemistry.moved if each.role == "gas")
    assert gas.low < -14 < gas.high
    assert gas.share == pytest.approx(gas.size / 68, rel=0.05)
    least, most = chemistry.gas_wanted
    level = 43.0
    assert least == pytest.approx(abs(change.high) / level / RISE_FOR_GAS[1], rel=0.05)
    assert most == pytest.approx(abs(change.low) / level / RISE_FOR_GAS[0], rel=0.05)
    assert chemistry.agrees == "yes"


def test_a_loss_of_gas_far_too_small_for_the_rise_does_not_explain_it():
    why, change, chemistry = ask(drop=14.0, **(STILL | {"gas": (68, -5, 0.5)}))
    assert chemistry.agrees == "no"
    assert "alone does not explain it" in say_causes_chemistry(chemistry, change, why)


def test_fahrenheit_takes_nearly_twice_the_degrees_to_be_worth_speaking_of():
    chance = np.random.Generator(np.random.PCG64(3))
    values = tuple((43 - 4 * age + chance.normal(0, 0.9),) for age in AGE)
    warm = tuple((392 - 7.0 * age + chance.normal(0, 0.5),) for age in AGE)
    told = {}
    for unit in ("°C", "°F"):
        log = MadeWith(
            series=BatchSeries(response="rise", batches=tuple(map(str, range(N))), values=values),
            lots={"powder": POWDER},
            beside={"oven": warm},
            units={"oven": unit},
            roles={"oven": "oven temperature"},
        )
        told[unit] = find_causes(log).chemistry[0].moved[0].moved
    assert told == {"°C": "yes", "°F": "no"}


def test_a_measurement_that_never_moves_has_finite_numbers():
    _, _, chemistry = ask(pH=(7.1, 0, 0.0))
    assert [np.isfinite([each.size, each.low, each.high]).all() for each in chemistry.moved] == [True]
