"""Canned studies: tables with a known truth, and the answer a reader should get from each.

All data are simulated here from the truth that the name tells; seeds are fixed. Expected:
the answer ("mattered", "too small", "cannot tell") and, where something mattered, the
variables of the first finding.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from itertools import product

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Margin, Question, Response
from analysis.results import Analysis

SODA = Factor(name="soda", kind="amount", unit="% flour")
OVEN = Factor(name="oven", kind="amount", unit="°C")
ACID = Factor(name="acid source", kind="category", levels=("lemon juice", "yogurt", "cream of tartar"))
RISE = Response(name="rise height", unit="mm", matters=3.0, goal="maximise")
ACIDS = ACID.levels


@dataclass(frozen=True)
class Study:
    name: str
    table: pd.DataFrame
    question: Question
    answer: str
    first: tuple[str, ...] = ()
    said: str = ""  # words of the headline beyond those that every answer has


def _question(*factors: Factor, response: Response = RISE, **more) -> Question:
    return Question(factors=factors, responses=(response,), **more)


def _bakes(rows: list[tuple], names: list[str], truth: Callable, sd: float, seed: int) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=names)
    noise = np.random.default_rng(seed).normal(0, sd, len(table)) if sd else np.zeros(len(table))
    table["rise height"] = [truth(**dict(zip(names, row, strict=True))) for row in rows] + noise
    return table.sample(frac=1, random_state=seed).reset_index(drop=True)


def _soda_raises_rise() -> Study:
    rows = list(product([0.5, 2.5], [170, 190])) * 4
    table = _bakes(rows, ["soda", "oven"], lambda soda, oven: 30 + 6 * soda, 1.5, 1)
    return Study("soda raises rise", table, _question(SODA, OVEN), "mattered", ("soda",))


def _soda_depends_on_acid() -> Study:
    rows = [(s, a) for s, a in product([0.5, 2.5], ACIDS)] * 4
    slope = {"lemon juice": 1.0, "yogurt": 9.0, "cream of tartar": 2.0}
    table = _bakes(rows, ["soda", "acid source"], lambda **at: 30 + slope[at["acid source"]] * at["soda"], 1.0, 2)
    return Study("soda depends on acid", table, _question(SODA, ACID), "mattered", ("soda", "acid source"))


def _acid_matters() -> Study:
    rows = [(a,) for a in ACIDS] * 6
    height = {"lemon juice": 40, "yogurt": 52, "cream of tartar": 41}
    table = _bakes(rows, ["acid source"], lambda **at: height[at["acid source"]], 1.5, 3)
    return Study("acid source matters", table, _question(ACID), "mattered", ("acid source",))


def _nothing_matters() -> Study:
    rows = list(product([0.5, 2.5], [170, 190])) * 8
    table = _bakes(rows, ["soda", "oven"], lambda soda, oven: 40 + 0.2 * soda, 0.8, 4)
    return Study("nothing matters", table, _question(SODA, OVEN, order=1), "too small")


def _too_noisy() -> Study:
    rows = list(product([0.5, 2.5], [170, 190])) * 2
    table = _bakes(rows, ["soda", "oven"], lambda soda, oven: 40 + soda, 7.0, 5)
    return Study("too noisy to tell", table, _question(SODA, OVEN), "cannot tell")


def _seen_but_how_large() -> Study:
    rows = [(0.5,), (2.5,)] * 6
    table = _bakes(rows, ["soda"], lambda soda: 40 + 1.5 * soda, 1.2, 6)
    return Study("seen, but how large", table, _question(SODA), "cannot tell")


def _days_differ_soda_does_not() -> Study:
    rows = [(s, d) for s, d in product([0.5, 2.5], ["Mon", "Tue", "Wed", "Thu"])] * 3
    day = {"Mon": 0, "Tue": 9, "Wed": -7, "Thu": 4}
    table = _bakes(rows, ["soda", "day"], lambda **at: 40 + day[at["day"]], 0.9, 7)
    return Study("days differ, soda does not", table, _question(SODA, blocks=("day",)), "too small")


def _slices_are_no_bakes() -> Study:
    """Six bakes of eight slices; bakes scatter, soda does nothing. Slices as bakes would shout."""
    generator = np.random.default_rng(11)
    rows = []
    for at, soda in enumerate([0.5, 2.5] * 3):
        own = 40 + (2.0 if soda > 1 else -1.0) + generator.normal(0, 4)
        rows += [(f"b{at}", soda, own + generator.normal(0, 0.3)) for _ in range(8)]
    table = pd.DataFrame(rows, columns=["bake", "soda", "rise height"])
    return Study("slices are no bakes", table, _question(SODA, bake="bake"), "cannot tell")


def _screening_baked_once() -> Study:
    names = ["soda", "oven", "rest", "sugar"]
    rows = list(product([0.5, 2.5], [170, 190], [5, 30], [20, 40]))
    factors = [
        SODA,
        OVEN,
        Factor(name="rest", kind="amount", unit="min"),
        Factor(name="sugar", kind="amount", unit="%"),
    ]
    table = _bakes(rows, names, lambda soda, oven, rest, sugar: 40 + 6 * soda, 0.8, 8)
    return Study("screening baked once", table, _question(*factors), "mattered", ("soda",))


def _changed_together() -> Study:
    rows = [(0.5, 170), (2.5, 190)] * 4
    table = _bakes(rows, ["soda", "oven"], lambda soda, oven: 40 + 0 * soda, 6.0, 9)
    return Study("changed together", table, _question(SODA, OVEN), "cannot tell")


def _every_bake_the_same() -> Study:
    rows = [(0.5,), (2.5,)] * 4
    table = _bakes(rows, ["soda"], lambda soda: 40.0, 0.0, 10)
    return Study("every bake the same", table, _question(SODA), "cannot tell")


def _no_yardstick() -> Study:
    rows = [(0.5,), (2.5,)] * 5
    plain = Response(name="rise height", unit="mm")
    table = _bakes(rows, ["soda"], lambda soda: 40 + 8 * soda, 1.5, 11)
    return Study("no yardstick, large effect", table, _question(SODA, response=plain), "mattered", ("soda",))


def _no_yardstick_nothing() -> Study:
    rows = [(0.5,), (2.5,)] * 5
    plain = Response(name="rise height", unit="mm")
    table = _bakes(rows, ["soda"], lambda soda: 40.0, 1.5, 12)
    return Study("no yardstick, nothing there", table, _question(SODA, response=plain), "cannot tell")


def _soapy_scores() -> Study:
    rows = [(0.5,), (2.5,)] * 8
    table = _bakes(rows, ["soda"], lambda soda: 1 + soda, 0.4, 13)
    table["rise height"] = table["rise height"].round().clip(1, 5)
    score = Response(name="rise height", scale="score", matters=1.0, goal="minimise")
    return Study("scores move", table, _question(SODA, response=score), "mattered", ("soda",))


FACTORIAL = (
    _soda_raises_rise,
    _soda_depends_on_acid,
    _acid_matters,
    _nothing_matters,
    _too_noisy,
    _seen_but_how_large,
    _days_differ_soda_does_not,
    _slices_are_no_bakes,
    _screening_baked_once,
    _changed_together,
    _every_bake_the_same,
    _no_yardstick,
    _no_yardstick_nothing,
    _soapy_scores,
)

DOSES = [0.5, 1.0, 1.5, 2.0, 2.5]


def _hump() -> Study:
    rows = [(dose,) for dose in DOSES] * 4
    table = _bakes(rows, ["soda"], lambda soda: 52 - 12 * (soda - 1.6) ** 2, 1.0, 21)
    return Study("rise turns at 1.6 % soda", table, _question(SODA), "mattered", ("soda",))


def _plateau() -> Study:
    rows = [(dose,) for dose in DOSES] * 4
    table = _bakes(rows, ["soda"], lambda soda: 30 + 14 * min(soda, 1.4), 1.0, 22)
    return Study("rise levels off at 1.4 % soda", table, _question(SODA), "mattered", ("soda",))


def _line() -> Study:
    rows = [(dose,) for dose in DOSES] * 3
    table = _bakes(rows, ["soda"], lambda soda: 30 + 8 * soda, 1.0, 23)
    return Study("rise goes on beyond the range", table, _question(SODA), "mattered", ("soda",))


def _flat_dose() -> Study:
    rows = [(dose,) for dose in DOSES] * 5
    table = _bakes(rows, ["soda"], lambda soda: 40.0, 0.8, 24)
    return Study("no dose matters", table, _question(SODA), "too small")


def _noisy_dose() -> Study:
    rows = [(dose,) for dose in DOSES] * 2
    table = _bakes(rows, ["soda"], lambda soda: 40.0 + soda, 8.0, 25)
    return Study("dose lost in noise", table, _question(SODA), "cannot tell")


def _curve_per_acid() -> Study:
    best = {"lemon juice": 1.0, "yogurt": 1.6, "cream of tartar": 2.2}
    rows = [(d, a, day) for d, a, day in product(DOSES, ACIDS, ["Mon", "Tue", "Wed"])]
    table = _bakes(
        rows,
        ["soda", "acid source", "day"],
        lambda **at: 52 - 10 * (at["soda"] - best[at["acid source"]]) ** 2,
        1.0,
        26,
    )
    return Study(
        "one curve per acid", table, _question(SODA, ACID, blocks=("day",)), "mattered", ("soda", "acid source")
    )


DOSE = (_hump, _plateau, _line, _flat_dose, _noisy_dose, _curve_per_acid)


def _as_good(name: str, shift: float, sd: float, bakes: int, seed: int, answer: str) -> Study:
    rows = [(acid,) for acid in ("lemon juice", "yogurt")] * bakes
    table = _bakes(rows, ["acid source"], lambda **at: 45 + shift * (at["acid source"] == "yogurt"), sd, seed)
    acid = Factor(name="acid source", kind="category", levels=("lemon juice", "yogurt"), reference="lemon juice")
    rise = replace(RISE, margin=Margin(low=-3, high=3))
    return Study(name, table, _question(acid, response=rise), answer, said=_AS_GOOD[answer])


_AS_GOOD = {
    "too small": "yogurt is as good as lemon juice for rise height, within 3 mm",
    "mattered": "not within 3 mm of lemon juice for rise height",
    "cannot tell": "this trial cannot tell",
}


def _substitute_as_good() -> Study:
    return _as_good("the substitute is as good", 0.3, 1.2, 8, 31, "too small")


def _substitute_worse() -> Study:
    return _as_good("the substitute is worse", -9.0, 1.5, 8, 32, "mattered")


def _substitute_open() -> Study:
    return _as_good("the substitute is not settled", 1.5, 3.5, 4, 33, "cannot tell")


def _oven_load_hides_soda() -> Study:
    """Soda set for whole oven loads that scatter: 24 bakes, but only six loads."""
    loads = np.random.default_rng(34).normal(0, 5, 6)
    rows = [(0.5 if load % 2 else 2.5, f"load {load}") for load in range(6) for _ in range(4)]
    table = _bakes(rows, ["soda", "oven load"], lambda **at: 40 + loads[int(at["oven load"][-1])], 0.5, 34)
    return Study("oven loads hide soda", table, _question(SODA, group=("oven load",)), "cannot tell")


def _day_within_which_soda_shows() -> Study:
    """Days scatter widely, but every day holds both amounts."""
    days = np.random.default_rng(35).normal(0, 8, 6)
    rows = [(soda, f"day {day}") for day in range(6) for soda in (0.5, 2.5) for _ in range(2)]
    table = _bakes(
        rows, ["soda", "bake day"], lambda **at: 40 + 3.5 * at["soda"] + days[int(at["bake day"][-1])], 1.0, 35
    )
    return Study("soda shows within days", table, _question(SODA, group=("bake day",)), "mattered", ("soda",))


def _two_amounts_bend() -> Study:
    rows = list(product([0.5, 1.5, 2.5], [170, 180, 190])) * 3
    table = _bakes(rows, ["soda", "oven"], lambda soda, oven: 50 - 9 * (soda - 1.5) ** 2 - 0.01 * (oven - 180), 0.8, 36)
    return Study("a surface bends over soda", table, _question(SODA, OVEN, kind="surface"), "mattered", ("soda",))


def _half_fraction_aliases() -> Study:
    """A half fraction: sugar moves together with the joint act of the other three."""
    names = ["soda", "oven", "rest", "sugar"]
    coded = [(a, b, c, a * b * c) for a, b, c in product((-1, 1), repeat=3)]
    middles, halves = (1.5, 180.0, 17.5, 30.0), (1.0, 10.0, 12.5, 10.0)
    rows = [tuple(m + h * s for m, h, s in zip(middles, halves, signs, strict=True)) for signs in coded] * 2
    factors = [Factor(name=name, kind="amount") for name in names]
    table = _bakes(rows, names, lambda soda, oven, rest, sugar: 40 + 0.3 * oven, 0.8, 47)
    return Study("half a factorial, the oven matters", table, _question(*factors), "mattered", ("oven",))


def _to_its_target() -> Study:
    rows = [(dose,) for dose in (0.2, 0.6, 1.0, 1.4, 1.8)] * 4
    table = _bakes(rows, ["soda"], lambda soda: 6.2 + 1.1 * soda, 0.08, 38)
    ph = Response(name="rise height", matters=0.2, goal="target", target=7.2)
    return Study("soda to a target", table, _question(SODA, response=ph), "mattered", ("soda",))


def _less_is_better() -> Study:
    rows = [(a,) for a in ACIDS] * 7
    bitter = {"lemon juice": 2.0, "yogurt": 2.1, "cream of tartar": 6.5}
    table = _bakes(rows, ["acid source"], lambda **at: bitter[at["acid source"]], 0.7, 39)
    less = Response(name="rise height", matters=2.0, goal="minimise")
    return Study("one acid tastes", table, _question(ACID, response=less), "mattered", ("acid source",))


def _lost_combination() -> Study:
    rows = [row for row in product([0.5, 2.5], ACIDS) if row != (2.5, "yogurt")] * 4
    table = _bakes(rows, ["soda", "acid source"], lambda **at: 35 + 6 * at["soda"], 1.2, 40)
    return Study("one combination was never baked", table, _question(SODA, ACID), "mattered", ("soda",))


def _few_bakes_of_four_levels() -> Study:
    levels = ("flour a", "flour b", "flour c", "flour d")
    flour = Factor(name="flour", kind="category", levels=levels)
    table = _bakes([(level,) for level in levels] * 2, ["flour"], lambda **at: 40.0, 4.0, 41)
    return Study("two bakes of each flour", table, _question(flour), "cannot tell")


FURTHER = (
    _substitute_as_good,
    _substitute_worse,
    _substitute_open,
    _oven_load_hides_soda,
    _day_within_which_soda_shows,
    _two_amounts_bend,
    _half_fraction_aliases,
    _to_its_target,
    _less_is_better,
    _lost_combination,
    _few_bakes_of_four_levels,
)


@cache
def _answered() -> tuple[tuple[Study, Analysis], ...]:
    studies = [make() for make in (*FACTORIAL, *DOSE, *FURTHER)]
    return tuple((study, analyse(study.table, study.question, source=study.name)) for study in studies)


@pytest.fixture(scope="session")
def answered() -> tuple[tuple[Study, Analysis], ...]:
    """Every canned study with its analysis."""
    return _answered()
