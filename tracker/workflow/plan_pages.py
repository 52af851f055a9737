"""What does a plan show before it is released, and what would another design cost or see?

Everything is in words already; a page only places it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analysis.words.chemistry import CHEMISTRY_FOR, say_about_ph
from analysis.words.numbers import start
from analysis.words.proposals import (
    CHEMISTRY,
    chemistry_row,
    compared,
    said_setting,
    say_put_first,
    say_range,
    say_seen,
    say_settings,
    say_size_facts,
    say_unpriced,
    say_weight,
    say_why,
)
from tracker.intake.plan_file import read_plan
from tracker.store import Store
from tracker.workflow.answers import DAY
from tracker.workflow.plan_takes import Takes, what_it_takes
from tracker.workflow.plan_working import Worked, design_key, free_trial_name
from tracker.workflow.planning import PlannedTrial, preview_plan

if TYPE_CHECKING:
    from analysis.designs.advice import Advice
    from tracker.workflow.run_chemistry import TreatmentChemistry

SEARCHED = ("optimal",)  # as large as its runs; repeats do not multiply it
Facts = tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class OtherDesign:
    """Another design for the same question. ``key`` asks for it; no two have one ``name``."""

    key: str
    name: str
    why: str
    facts: Facts


@dataclass(frozen=True, kw_only=True)
class Treatment:
    """One treatment and what its dough gives; ``senseless``: soapy or sour by the account."""

    words: str
    row: tuple[str, ...]
    senseless: bool


@dataclass(frozen=True, kw_only=True)
class ShownRun:
    order: int
    code: str
    block: str
    settings: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class PlanView:
    """Everything a page says of a plan."""

    title: str
    name: str
    question: str
    kind: str
    advised: tuple[str, ...]
    takes: Facts
    ingredients: Facts
    tells: tuple[str, ...]
    sure: tuple[str, ...]
    ranges: tuple[str, ...]
    mixed: tuple[str, ...]
    how: tuple[str, ...]
    cautions: tuple[str, ...]
    chemistry: tuple[Treatment, ...]
    others: tuple[OtherDesign, ...]
    factors: tuple[str, ...]
    runs: tuple[ShownRun, ...]
    block: str
    chemistry_columns: tuple[str, ...] = CHEMISTRY
    chemistry_for: str = CHEMISTRY_FOR
    about_ph: tuple[str, ...] = ()
    repeats: int
    repeatable: bool
    has_formula: bool


def view_plan(store: Store, worked: Worked) -> PlanView:
    """What the page says. Raises InputError for a formula that is not there, PlanError for what nobody can weigh."""
    from analysis.words.plans import plan_parts

    read = read_plan(worked.text)
    planned = preview_plan(worked.text, store, name=free_trial_name(store, read), seed=worked.seed, laid=worked.laid)
    takes = what_it_takes(store, read, [run.settings for run in planned.plan.runs])
    parts = plan_parts(planned.plan, planned.responses)
    advice = worked.proposal.advice if worked.proposal else None
    return PlanView(
        title=planned.title,
        name=planned.name,
        question=read.question,
        kind=_names(advice)[0] if advice else planned.plan.design.kind,
        advised=_advised(advice),
        takes=_takes(planned, takes, advice),
        ingredients=tuple((name, say_weight(grams)) for name, grams in takes.ingredients),
        tells=parts["tells"],
        sure=_sure(advice, parts["sure"]),
        ranges=tuple(
            say_range(each.name, each.unit, each.plausible) for each in read.responses if each.scale == "measured"
        ),
        mixed=parts["mixed"],
        how=parts["how"],
        cautions=tuple(dict.fromkeys(_cautions(planned, takes, advice))),
        chemistry=_chemistry(planned),
        about_ph=say_about_ph([each.chemistry for each in planned.treatments]),
        others=_others(advice),
        factors=tuple(factor.name for factor in read.factors),
        runs=_runs(planned, [factor.name for factor in read.factors]),
        block=planned.plan.design.block or "",
        repeats=planned.plan.design.replicates,
        repeatable=planned.plan.design.kind not in SEARCHED,
        has_formula=read.formula is not None or read.formula_name is not None,
    )


def _advised(advice: Advice | None) -> tuple[str, ...]:
    if advice is None:
        return ()
    from analysis.words.advice import say_reason

    said = (*map(say_reason, advice.reasons), say_put_first(advice))
    return tuple(each for each in said if each)


def _sure(advice: Advice | None, lines: tuple[str, ...]) -> tuple[str, ...]:
    """How closely; a response of which nobody can say is named too."""
    unknown = [each for each in advice.chosen.sureness if each.half_width is None] if advice else []
    return (*(f"{start(each.response)}: {say_seen(each)}." for each in unknown), *lines)


def _takes(planned: PlannedTrial, takes: Takes, advice: Advice | None) -> Facts:
    design = planned.plan.design
    in_days = design.blocks if design.block == DAY else None
    days = advice.chosen.days if advice else in_days
    return say_size_facts(len(planned.plan.runs), days, takes.flour_g, takes.money)


def _cautions(planned: PlannedTrial, takes: Takes, advice: Advice | None) -> Iterator[str]:
    from analysis.words.advice import say_reason

    yield from planned.notes
    for caution in advice.cautions if advice else ():
        yield say_reason(caution)
    yield from planned.plan.warnings
    if takes.unpriced:
        yield say_unpriced(takes.unpriced)


def _chemistry(planned: PlannedTrial) -> tuple[Treatment, ...]:
    """By rising doses and kinds as they stand in the plan, not in the order of baking."""
    levels = planned.plan.design.settings

    def place(settings: Mapping[str, Any]) -> tuple[float, ...]:
        return tuple(
            levels[name].index(value) if isinstance(value, str) else float(value) for name, value in settings.items()
        )

    listed = sorted(planned.treatments, key=lambda each: place(each.settings))
    alike: dict[tuple[str, ...], list[TreatmentChemistry]] = {}
    for each in listed:
        alike.setdefault(chemistry_row(each.chemistry), []).append(each)
    rows: list[Treatment] = []
    for row, group in alike.items():
        words = _what_they_share(group, listed, planned.plan.units)
        if words:
            rows.append(Treatment(words=words, row=row, senseless=any(each.senseless for each in group)))
        else:
            rows += [
                Treatment(words=say_settings(each.settings, planned.plan.units), row=row, senseless=each.senseless)
                for each in group
            ]
    return tuple(rows)


def _what_they_share(
    group: Sequence[TreatmentChemistry], listed: Sequence[TreatmentChemistry], units: Mapping[str, str]
) -> str:
    """The settings that single these treatments out, since oven or fat change no account; "" where none do."""
    if len(group) == len(listed) > 1:
        return "every treatment"
    first = group[0].settings
    shared = {name: value for name, value in first.items() if all(each.settings[name] == value for each in group)}
    meant = [each for each in listed if all(each.settings[name] == value for name, value in shared.items())]
    return say_settings(shared, units) if len(meant) == len(group) else ""


def _others(advice: Advice | None) -> tuple[OtherDesign, ...]:
    if advice is None:
        return ()
    return tuple(
        OtherDesign(
            key=design_key(option),
            name=name,
            why=say_why(option),
            facts=compared(option, advice.chosen),
        )
        for name, option in zip(_names(advice)[1:], advice.others, strict=True)
    )


def _names(advice: Advice) -> tuple[str, ...]:
    """Of the chosen design and the others, told apart."""
    from analysis.words.design_names import tell_apart

    return tell_apart((advice.chosen, *advice.others))


def _runs(planned: PlannedTrial, names: list[str]) -> tuple[ShownRun, ...]:
    units = planned.plan.units
    return tuple(
        ShownRun(
            order=run.bake_order,
            code=run.code,
            block=run.block or "",
            settings=tuple(said_setting(run.settings[name], units.get(name, "")) for name in names),
        )
        for run in planned.plan.runs
    )
