"""Which one way of going on was asked for?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, get_args

from tracker.errors import NotFound, UsageError
from tracker.intake.numbers import read_number
from tracker.intake.spreadsheet import nearest

if TYPE_CHECKING:
    from analysis.designs.further import Further
    from tracker.store import Store

ALL = "all"


def chosen_way(
    *,
    replicates: int | None = None,
    centre_points: int | None = None,
    axial: float | None = None,
    fold_over: bool = False,
    factor: str | None = None,
    best: int | None = None,
    model: str | None = None,
    again: tuple[str, ...] = (),
    bakes: tuple[str, ...] = (),
    times: int = 1,
    what_is_proposed: bool = False,
) -> Further | None:
    """None: what ``trial next`` proposes.

    Raises UsageError unless exactly one way is named (star points may have centre points beside them).
    """
    from analysis.designs.further import Further
    from analysis.designs.requests import ModelName

    ways: dict[str, Any] = {
        "--replicates": replicates,
        "--centre-points": centre_points if axial is None else None,
        "--axial": axial,
        "--fold-over": fold_over or None,
        "--best": best,
        "--again": again or None,
        "--bake": bakes or None,
        "--next": what_is_proposed or None,
    }
    named = [option for option, value in ways.items() if value is not None]
    if len(named) != 1:
        told = f"Both {named[0]} and {named[1]} are given." if named else "How shall the trial go on?"
        raise UsageError(told, where="trial extend", try_this=f"one of {', '.join(ways)}")
    if factor is not None and not fold_over:
        raise UsageError(
            "--factor says what a fold-over turns.", where="--factor", try_this="--fold-over --factor NAME"
        )
    if model is not None and best is None:
        raise UsageError("--model says what the best bakes shall tell.", where="--model", try_this="--best 6 --model …")
    if model is not None and model not in get_args(ModelName):
        near = nearest(model, list(get_args(ModelName))) or "quadratic"
        raise UsageError(f'There is no model "{model}".', where="--model", try_this=f'--model "{near}"')
    if axial is not None:
        return Further(way="axial runs", axial=axial, count=centre_points or 2)
    if fold_over:
        return Further(way="fold-over", factor=factor)
    if what_is_proposed:
        return None
    if bakes:
        return Further(way="chosen", count=times, treatments=tuple(treatment_of(text) for text in bakes))
    if again:
        return Further(way="again", codes=() if again == (ALL,) else again)
    if best is not None:
        return Further(way="best", count=best, model=model)  # type: ignore[arg-type]  # checked above
    if centre_points is not None:
        return Further(way="centre points", count=centre_points)
    return Further(way="replicates", count=replicates or 1)


def treatment_of(text: str) -> Mapping[str, float | str]:
    """ "soda=1.5, acid source=yogurt" as settings; what reads as a number is one. Raises UsageError."""
    settings: dict[str, float | str] = {}
    for part in text.replace(";", ",").split(","):
        name, equals, value = (each.strip() for each in part.partition("="))
        if not (name and equals and value):
            raise UsageError(
                f'"{part.strip()}" does not say what is set to what.',
                where="--bake",
                try_this='--bake "soda=1.5, acid source=yogurt" (decimals with a point)',
            )
        settings[name] = _number_or_name(value)
    return settings


def _number_or_name(value: str) -> float | str:
    if not value.replace(".", "", 1).lstrip("+-").isdigit():
        return value
    return float(read_number(value, what="the amount", where="--bake"))


def proposed(store: Store, trial: str, *, times: int = 1) -> Further:
    """The treatments that ``trial next`` proposes, each once; with a single one what is baked beside it.

    Raises NotFound when it proposes none.
    """
    from analysis.designs.further import Further
    from tracker.workflow.next_bakes import beside, next_bakes_of, runs_read

    found: Sequence[Mapping[str, Any]] = [
        treatment for proposal in next_bakes_of(store, trial) for treatment in proposal.treatments
    ]
    distinct = {tuple(sorted(treatment.items())): treatment for treatment in found}
    if not distinct:
        raise NotFound(
            "Nothing is proposed for this trial.", where=f'trial "{trial}"', try_this="--replicates 1, or --bake"
        )
    chosen = tuple(distinct.values())
    known = beside(chosen, runs_read(store, trial))
    return Further(way="chosen", count=times, treatments=(*chosen, *([known] if known else [])))
