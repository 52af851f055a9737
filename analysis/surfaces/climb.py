"""In which direction does a first-order model get better fastest, and what lies along it?

Steepest ascent (Box & Wilson 1951, J. Royal Statistical Society B 13:1): each amount moves in proportion to
its slope for half its range. Inside what was baked the path foretells; beyond, it only says where to bake.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.linear.distributions import t_quantile
from analysis.predicting import Predictor
from analysis.questions import Question, Response
from analysis.results import FamilyResult
from analysis.surfaces.best import better, loss
from analysis.surfaces.quadratic import Quadratic
from analysis.surfaces.results import ClimbPart, ClimbStep, Setting

Floats = NDArray[np.float64]
Treatments = tuple[Mapping[str, Setting], ...]

STEPS = (0.0, 0.25, 0.5, 0.75, 1.0)
ONWARD = (1.0, 1.5, 2.0, 2.5, 3.0)
BEYOND = (0.25, 0.5, 0.75)
FEWEST = 2
ALARM = 0.05


def climb_part(family: FamilyResult, bakes: pd.DataFrame, response: Response, question: Question) -> ClimbPart | None:
    """The path; None without two amounts, without one that matters, or where the response bends or twists."""
    predictor = family.predictor
    amounts = [f.name for f in question.factors if f.kind == "amount"]
    if predictor is None or predictor.df is None or (response.goal is None and question.kind != "surface"):
        return None
    amounts = [name for name in amounts if name in predictor.spans]
    bends = _bends(family, amounts)
    if len(amounts) < FEWEST or bends is None or not _matters(family, amounts) or _twists(family, amounts):
        return None
    low, high = (np.array([getattr(predictor.spans[name], end) for name in amounts]) for end in ("low", "high"))
    middle, half = (low + high) / 2, (high - low) / 2
    if any(len(predictor.spans[name].baked) > 3 for name in amounts):
        return None
    held = _held(predictor, amounts, middle, response)
    slopes = _slopes(predictor, amounts, middle, half, held)
    sign = _sign(predictor, amounts, middle, held, response)
    if not np.abs(slopes).max() > 0 or sign == 0:
        return None
    step = sign * slopes / np.abs(slopes).max() * half
    steps = _steps(predictor, amounts, middle, step, held, question.confidence)
    return ClimbPart(
        better=better(response),
        goal_given=response.goal is not None,
        slopes=dict(zip(amounts, map(float, slopes), strict=True)),
        step=dict(zip(amounts, map(float, step), strict=True)),
        steps=steps,
        onward=_onward(amounts, middle, half, step, held, steps[-1], response),
        bends=bends,
    )


def _bends(family: FamilyResult, amounts: Sequence[str]) -> Any:
    """ "no" where centre points show no bend, "untested" without them, None where the response bends."""
    checks = [check for check in family.checks if check.check == "curvature"]
    if any(check.facts.get("tested") and (check.facts.get("p") or 0.0) < ALARM for check in checks):
        return None
    return "no" if any(check.facts.get("tested") for check in checks) else "untested"


def _matters(family: FamilyResult, amounts: Sequence[str]) -> bool:
    return any(f.kind == "effect" and f.matters == "yes" and f.variables[0] in amounts for f in family.evidence)


def _twists(family: FamilyResult, amounts: Sequence[str]) -> bool:
    """Does what one amount does depend on another one?"""
    return any(
        f.kind == "interaction" and f.matters == "yes" and set(f.variables) <= {*amounts} for f in family.evidence
    )


def _held(predictor: Predictor, amounts: Sequence[str], middle: Floats, response: Response) -> dict[str, Any]:
    """The levels of the categories that do best at the middle, one category after the other."""
    held = {name: span.levels[0] for name, span in predictor.spans.items() if name not in amounts and span.levels}
    for name in list(held):
        levels = predictor.spans[name].levels
        frame = pd.concat([_frame(amounts, middle[None, :], {**held, name: level}) for level in levels])
        held[name] = levels[int(np.argmin(loss(predictor.mean(frame.reset_index(drop=True)), response)))]
    return held


def _frame(amounts: Sequence[str], settings: Floats, held: Mapping[str, Any]) -> pd.DataFrame:
    frame = pd.DataFrame(settings, columns=list(amounts))
    return frame.assign(**{name: [level] * len(frame) for name, level in held.items()})


def _slopes(
    predictor: Predictor, amounts: Sequence[str], middle: Floats, half: Floats, held: Mapping[str, Any]
) -> Floats:
    ends = np.diag(half)
    up, down = (predictor.mean(_frame(amounts, middle + side, held)) for side in (ends, -ends))
    return np.asarray((up - down) / 2)


def _sign(
    predictor: Predictor, amounts: Sequence[str], middle: Floats, held: Mapping[str, Any], response: Response
) -> float:
    way = better(response)
    if way != "target":
        return 1.0 if way == "higher" else -1.0
    assert response.target is not None
    return float(np.sign(response.target - predictor.mean(_frame(amounts, middle[None, :], held))[0]))


def _steps(
    predictor: Predictor,
    amounts: Sequence[str],
    middle: Floats,
    step: Floats,
    held: Mapping[str, Any],
    confidence: float,
) -> tuple[ClimbStep, ...]:
    """From the middle to the edge of what was baked."""
    frame = _frame(amounts, middle + np.array(STEPS)[:, None] * step, held)
    means, se = predictor.mean(frame), predictor.se(frame)
    margin = None if se is None or predictor.df is None else t_quantile(confidence, predictor.df) * se
    return tuple(
        ClimbStep(
            settings={str(name): _plain(value) for name, value in row.items()},
            response=float(means[at]),
            low=None if margin is None else float(means[at] - margin[at]),
            high=None if margin is None else float(means[at] + margin[at]),
            inside=True,
        )
        for at, (_, row) in enumerate(frame.iterrows())
    )


def _plain(value: Any) -> Setting:
    return value if isinstance(value, str) else float(value)


def _onward(
    amounts: Sequence[str],
    middle: Floats,
    half: Floats,
    step: Floats,
    held: Mapping[str, Any],
    last: ClimbStep,
    response: Response,
) -> Treatments:
    """Three to five treatments to bake: the edge and further steps, as one would weigh them; () where the target
    lies before the edge, so that there is no need to climb."""
    if response.goal == "target" and response.target is not None:
        rising = 1.0 if response.target > last.response else -1.0
        start = last.response - rising * abs(last.response)
        if (last.response - response.target) * rising >= 0 or start == last.response:
            return ()
    found = []
    for length in ONWARD:
        settings = middle + length * step
        if ((settings < 0) & (middle - half >= 0)).any():
            break  # nothing can be weighed below zero
        found.append({**{n: _round(v, h) for n, v, h in zip(amounts, settings, half, strict=True)}, **held})
    return tuple(found)


def beyond_edge(quadratic: Quadratic, best: Floats, held: Mapping[str, Any], sign: float, lowest: Floats) -> Treatments:
    """A few treatments from the best at the edge outwards, along the steepest way there; none below zero where
    nothing below zero was baked (``lowest`` (k,) are the lowest settings)."""
    slope = sign * quadratic.gradient(best)[0]
    if not np.abs(slope).max() > 0:
        return ()
    found = []
    for length in BEYOND:
        settings = quadratic.coding.real(best + length * slope / np.abs(slope).max())
        if ((settings < 0) & (lowest >= 0)).any():
            break
        rounded = [_round(value, half) for value, half in zip(settings, quadratic.coding.half, strict=True)]
        found.append({**dict(zip(quadratic.coding.names, rounded, strict=True)), **held})
    return tuple(found)


def _round(value: float, half: float) -> float:
    """To a fiftieth of the half range or so."""
    digits = int(np.floor(np.log10(half))) - 1
    return float(f"{round(value, -digits):.12g}")
