"""Which one way of going on was asked for?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, get_args

from tracker.errors import UsageError
from tracker.intake.spreadsheet import nearest

if TYPE_CHECKING:
    from analysis.designs.further import Further

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
) -> Further:
    """Raises UsageError unless exactly one way is named (star points may have centre points beside them)."""
    from analysis.designs.further import Further
    from analysis.designs.requests import ModelName

    ways: dict[str, Any] = {
        "--replicates": replicates,
        "--centre-points": centre_points if axial is None else None,
        "--axial": axial,
        "--fold-over": fold_over or None,
        "--best": best,
        "--again": again or None,
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
    if again:
        return Further(way="again", codes=() if again == (ALL,) else again)
    if best is not None:
        return Further(way="best", count=best, model=model)  # type: ignore[arg-type]  # checked above
    if centre_points is not None:
        return Further(way="centre points", count=centre_points)
    return Further(way="replicates", count=replicates or 1)
