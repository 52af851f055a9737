"""What was really weighed?

Written only where it was not what the sheet asked for; it is analysed instead of the plan.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlmodel import Session, col, select

from tracker.deeds import Deed
from tracker.errors import Conflict, InputError, NotFound, UsageError
from tracker.intake.mapping import plain
from tracker.intake.numbers import number_text, read_number
from tracker.intake.spreadsheet import nearest
from tracker.models import Bake, Factor, FormulaLine, Run, Trial, Weighing
from tracker.workflow import standing
from tracker.workflow.asked_weights import asked_grams, unlikely_weight
from tracker.workflow.lookup import key
from tracker.workflow.readings import KEPT_WITH_A_REASON


def write_weighings(
    deed: Deed,
    trial: Trial,
    run: Run,
    bake: Bake,
    weighed: Iterable[str],
    *,
    person: int,
    at: str,
    correct: bool,
    reason: str,
    place: str,
    seen: str = "",
) -> tuple[tuple[tuple[str, float], ...], list[str]]:
    """Keep texts such as "baking soda=3.9 g"; returns ingredient and grams as kept, and what is unlikely of them.

    ``seen`` is the weight that whoever corrects saw standing ("3.8 g"). Raises Conflict where another stands now,
    InputError where a weight far from the planned one has no reason.
    """
    asked = list(weighed)
    if not asked:
        return (), []
    stands: dict[str, Any] = {row.ingredient: row for row in standing.weighings_of(deed.session, bake)}
    planned = asked_grams(deed.session, trial, run)
    kept, warnings = [], []
    for text in asked:
        ingredient, grams = _read(text, _ingredients(deed.session, trial), place)
        before = stands.get(ingredient)
        if before is not None and not correct:
            raise Conflict(
                f"{ingredient} is recorded already: {number_text(before.grams)} g.",
                where=place,
                try_this='--correct --reason "…" replaces it',
            )
        if seen and (before is None or f"{number_text(before.grams)} g" != seen):
            now = "nothing" if before is None else f"{number_text(before.grams)} g"
            raise Conflict(
                f"Somebody changed it meanwhile; {ingredient} is recorded already: {now}.",
                where=place,
                try_this="look at what stands first",
            )
        unlikely = unlikely_weight(ingredient, grams, planned.get(ingredient))
        if unlikely and not reason:
            raise InputError(
                f"{unlikely} {KEPT_WITH_A_REASON}",
                where=place,
                try_this='--reason "the large tin, three times the dough", or write the weight again',
            )
        stands[ingredient] = deed.add(
            Weighing(
                bake_id=key(bake),
                ingredient=ingredient,
                grams=grams,
                person_id=person,
                at=at,
                replaces_id=before.id if before else None,
                reason=reason if before or unlikely else "",
            )
        )
        kept.append((ingredient, grams))
        warnings += [f"{unlikely} Kept, because: {reason}"] if unlikely else []
    return tuple(kept), warnings


def _read(text: str, known: list[str], place: str) -> tuple[str, float]:
    name, equals, amount = (part.strip() for part in text.partition("="))
    if not equals or not name or not amount:
        raise UsageError(f'"{text}" names no weight.', where="--weighed", try_this='--weighed "baking soda=3.9 g"')
    amount = amount.removesuffix("g").strip()
    grams = read_number(amount, what=name, where=place)
    if not 0 <= grams <= 1_000_000:
        raise InputError(f"{name}: {number_text(grams)} g is impossible.", where=place, try_this="check the number")
    return _ingredient(name, known, place), grams


def _ingredient(name: str, known: list[str], place: str) -> str:
    for each in known:
        if plain(each) == plain(name):
            return each
    if not known:  # a trial without a formula: nothing to compare with
        return name
    raise NotFound(
        f'No run of this trial weighs "{name}"; they weigh {", ".join(known)}.',
        where=place,
        try_this=f'--weighed "{nearest(name, known) or known[0]}=… g"',
    )


def _ingredients(session: Session, trial: Trial) -> list[str]:
    """Formula lines, then what factors add to them."""
    import json

    lines = session.exec(
        select(FormulaLine.ingredient)
        .where(FormulaLine.formula_id == trial.formula_id)
        .order_by(col(FormulaLine.position))
    ).all()
    factors = session.exec(select(Factor).where(Factor.trial_id == trial.id)).all()
    named = [factor.ingredient for factor in factors if factor.ingredient]
    levels = [level for factor in factors if factor.kind == "category" for level in json.loads(factor.levels)]
    return list(dict.fromkeys([*lines, *named, *levels])) if lines else []
