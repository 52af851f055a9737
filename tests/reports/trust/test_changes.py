"""When one stored number changes, does everything that shows it change: sentence, picture, alt text and table?

One number of a stored result is replaced, wherever the record holds it, and the parts of the page that tell of it are
made again. Nothing else is computed anew, so whatever stays as it was would have been written ahead of the numbers.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import pytest

from analysis.control.gauge.results import GaugeAnswer
from analysis.control.results import Alarm
from analysis.leavening.runs import PREDICTED_PH
from analysis.pooling.results import Pooling
from reports.kinds import Told
from reports.sections.amount import amount_section
from reports.sections.batches import BatchesTold
from reports.sections.chemistry import chemistry_section
from reports.sections.classroom import questions_section
from reports.sections.mattered import mattered_section
from reports.sections.numbering import Keys
from reports.sections.panel import panel_section
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


LOUD = "50"  # a batch that raises no alarm in the log as it is


def with_alarm(told: BatchesTold) -> BatchesTold:
    """The same charts, but that one more batch of the level raises an alarm."""
    level = told.responses[0].charts[0]
    points = tuple(replace(p, alarms=("outside the limits",)) if p.batch == LOUD else p for p in level.points)
    alarm = Alarm(batch=LOUD, rule="outside the limits", since=LOUD, value=41.0, side="below")
    charts = (replace(level, points=points, alarms=(*level.alarms, alarm)), *told.responses[0].charts[1:])
    return replace(told, responses=(replace(told.responses[0], charts=charts), *told.responses[1:]))


def lower_limit(told: BatchesTold) -> BatchesTold:
    old = told.responses[0].charts[0].limits.lower
    return with_number(told, old, old - 1.3)


def with_gauge(answer: GaugeAnswer) -> GaugeAnswer:
    old = answer.used.shares["gauge"].of_tolerance.value
    other = with_number(answer, old, 1.4 * old)
    return with_number(other, answer.used.components["gauge"].variance, 1.96 * answer.used.components["gauge"].variance)


def one_effect(pooling: Pooling) -> Pooling:
    old = pooling.effects[0].estimate
    return with_number(pooling, old, old + 1.3)


# Page -> what of its record changes, and the sections that tell of it.
OTHERS = {
    "limits of a month": ("month", lower_limit, ("glance", "made")),
    "an alarm of a month": ("month", with_alarm, ("answer", "glance")),
    "an alarm of one of many products": (
        "products",
        lambda told: replace(told, products=(with_alarm(told.products[0]), with_alarm(told.products[1]))),
        ("eyes", "calm"),
    ),
    "limits of a chart": (
        "chart individuals",
        lambda told: with_number(told, told[0].charts[0].limits.upper, told[0].charts[0].limits.upper + 1.3),
        ("glance", "made"),
    ),
    "the gauge": ("gauge crossed", with_gauge, ("answer", "glance")),
    "a shared effect": ("pooled", one_effect, ("answer", "effect-1")),
    "pH of the crumb": (
        "balance",
        lambda both: (with_number(both[0], both[0].baked.value, both[0].baked.value - 0.4), both[1]),
        ("answer", "glance"),
    ),
}


@pytest.mark.parametrize("changed", OTHERS)
def test_one_changed_number_changes_all_that_show_it_on_other_pages(changed, other_pages):
    name, change, keys = OTHERS[changed]
    page = other_pages[name]
    seen = []
    for record in (page.record, change(page.record)):
        sections = [section for section in page.page(record) if section.key in keys]
        seen.append(by_kind(block for section in sections for block in section.blocks))
    assert all_changed(*seen)


def test_one_changed_score_changes_all_that_show_it(panelled):
    told = panelled["panel"]
    scores = told.scores.copy()
    scores.loc[scores.index[0], "score"] += 3.0
    seen = [panel_section(told.analysis, one, Keys()) for one in (told.scores, scores)]
    assert all_changed(*(by_kind(section.blocks) for section in seen))


def test_one_changed_effect_changes_what_a_class_is_asked(by_hand):
    told = by_hand["factorial"]
    old = first(told).findings[0].size
    other = with_number(told.analysis, old, old + 2.0)
    before, after = (questions_section(one, None) for one in (told.analysis, other))
    assert before.blocks[0].items[0] != after.blocks[0].items[0]
