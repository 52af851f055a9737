"""When one stored number changes, does everything that shows it change: sentence, picture, alt text and table?

One number of a stored result is replaced, wherever the record holds it, and the parts of the page that tell of it are
made again. Nothing else is computed anew, so whatever stays as it was would have been written ahead of the numbers.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.leavening.runs import PREDICTED_PH
from analysis.pooling import TrialAnswer, pool_effects
from analysis.questions import Factor, Question, Response
from analysis.words.pooling import say_pooled
from reports.figures.pooled import draw_pooled
from reports.kinds import Told
from reports.sections.amount import amount_section
from reports.sections.chemistry import chemistry_section
from reports.sections.mattered import mattered_section
from reports.sections.numbering import Keys
from reports.sections.parts import part_sections


def with_number(value: Any, old: float, new: float) -> Any:
    """The record with ``new`` wherever it holds exactly ``old``."""
    if is_dataclass(value) and not isinstance(value, type):
        kept = {f.name: getattr(value, f.name) for f in fields(value)}
        return replace(
            value, **{n: with_number(v, old, new) for n, v in kept.items() if n not in ("predictor", "question")}
        )
    if isinstance(value, Mapping):
        return {name: with_number(one, old, new) for name, one in value.items()}
    if isinstance(value, (list, tuple)):
        return type(value)(with_number(one, old, new) for one in value)
    if isinstance(value, float) and math.isclose(value, old, rel_tol=1e-12, abs_tol=0):
        return new
    return value


def part_of(told: Told, key: str) -> Any:
    parts = [*told.analysis.parts, *(part for one in told.analysis.responses for part in one.family.parts)]
    return next(part for part in parts if part.key == key)


def first(told: Told) -> Any:
    return told.analysis.responses[0]


@dataclass(frozen=True)
class Change:
    """``number`` of the page becomes ``to`` it; ``section`` shows it."""

    page: str
    section: str
    number: Callable[[Told], float]
    to: Callable[[float], float]


CHANGES = {
    "effects": Change("screening", "mattered", lambda told: first(told).findings[0].size, lambda size: size - 0.6),
    "dose": Change("dose", "amount", lambda told: first(told).family.dose.curves[0].optimum.dose, lambda d: d + 0.11),
    "surface": Change(
        "surface", "surface", lambda told: part_of(told, "surface").best_response, lambda best: best + 7.0
    ),
    "blend": Change("blend", "blend", lambda told: part_of(told, "blend").best_response, lambda best: best + 2.0),
    "scores": Change("scores", "scores", lambda told: part_of(told, "scores").treatments[1].mean, lambda m: m - 0.7),
    "equivalence": Change(
        "equivalence", "mattered", lambda told: first(told).family.equivalence[0].estimate, lambda size: size + 0.4
    ),
    "goals": Change("goals", "goals", lambda told: part_of(told, "goals").best.settings["soda"], lambda soda: soda - 2),
}


SECTIONS = {
    "mattered": lambda told: mattered_section(told.analysis, Keys()),
    "amount": lambda told: amount_section(told.analysis, Keys()),
    "chemistry": lambda told: chemistry_section(told.analysis, told.chemistry, told.notes, Keys()),
}


def shown(told: Told, key: str) -> dict[str, list[Any]]:
    """What one section shows, kind by kind."""
    if key in SECTIONS:
        sections = [SECTIONS[key](told)]
    else:
        sections = [one for one in part_sections(told.analysis, Keys()) if one.key == key]
    return by_kind(block for section in sections for block in section.blocks)


def by_kind(blocks: Iterable[Any]) -> dict[str, list[Any]]:
    held: dict[str, list[Any]] = {"sentences": [], "drawings": [], "alt texts": [], "tables": []}
    for block in blocks:
        match block.kind:
            case "picture":
                held["drawings"].append(block.figure.svg)
                held["alt texts"].append(block.figure.alt)
                held["tables"].append(block.figure.table)
            case "items":
                held["sentences"] += block.items
            case "words":
                held["sentences"].append(block.text)
            case "grid":
                held["tables"].append(block.table)
    return held


def all_changed(before: dict[str, list[Any]], after: dict[str, list[Any]]) -> bool:
    """Raises with the kinds that are missing, or that stayed as they were."""
    assert [name for name in before if not before[name]] == []
    assert [name for name in before if before[name] == after[name]] == []
    return True


@pytest.mark.parametrize("family", CHANGES)
def test_one_changed_number_changes_all_that_show_it(family, pages):
    change = CHANGES[family]
    told = pages[change.page]
    old = change.number(told)
    other = replace(told, analysis=with_number(told.analysis, old, change.to(old)))
    assert change.number(other) == pytest.approx(change.to(old))
    before, after = shown(told, change.section), shown(other, change.section)
    assert all_changed(before, after)


def test_nothing_changes_of_itself(pages):
    """What changed above did so for its number's sake: made twice, a section is the same to the letter."""
    for family in ("effects", "equivalence"):
        change = CHANGES[family]
        assert shown(pages[change.page], change.section) == shown(pages[change.page], change.section)


def test_one_measured_ph_changes_all_that_show_it(pages):
    told = pages["demo soda"]
    foretold = told.chemistry[PREDICTED_PH].notna() & told.chemistry["measured_ph"].notna()
    bake = told.chemistry.index[foretold][0]
    chemistry = told.chemistry.copy()
    chemistry.loc[bake, "measured_ph"] += 1.9
    assert all_changed(shown(told, "chemistry"), shown(replace(told, chemistry=chemistry), "chemistry"))


def pooled() -> Any:
    """One effect over four seasons."""
    chance = np.random.Generator(np.random.PCG64(5))
    factor = Factor(name="soda", kind="amount", unit="%")
    asked = Question(
        factors=(factor,), responses=(Response(name="rise", unit="mm", goal="maximise", matters=2),), kind="factors"
    )
    trials = []
    for name in ("spring", "summer", "autumn", "winter"):
        table = pd.DataFrame({"soda": [1.0, 3.0] * 6})
        table["rise"] = 30 + 3 * table["soda"] + chance.standard_normal(12)
        trials.append(TrialAnswer(name=name, analysis=analyse(table, asked)))
    return pool_effects(trials).effects[0]


def test_one_pooled_number_changes_all_that_show_it():
    effect = pooled()
    other = with_number(effect, effect.estimate, effect.estimate + 1.3)
    seen = []
    for one in (effect, other):
        figure = draw_pooled(one, key="figure-1", confidence=0.95)
        said = list(say_pooled(one, 0.95))
        seen.append({"sentences": said, "drawings": [figure.svg], "alt texts": [figure.alt], "tables": [figure.table]})
    assert all_changed(*seen)
