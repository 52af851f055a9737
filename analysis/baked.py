"""Which treatments were baked, and what did they give?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

from analysis.dose_results import Curve
from analysis.questions import Question
from analysis.results import BakePoint

Treatment = dict[str, Any]


def treatments_baked(points: Sequence[BakePoint], question: Question) -> list[Treatment]:
    """The treatments baked, each once, in order of first baking."""
    names = [factor.name for factor in question.factors]
    seen: dict[tuple[Any, ...], Treatment] = {}
    for point in sorted(points, key=lambda point: point.order):
        settings = {name: point.settings[name] for name in names if name in point.settings}
        seen.setdefault(tuple(settings.items()), settings)
    return list(seen.values())


def levels_baked(points: Sequence[BakePoint], name: str) -> list[Any]:
    """The levels baked, amounts in rising order, categories as they appeared."""
    levels = list(dict.fromkeys(point.settings[name] for point in points if name in point.settings))
    return sorted(levels) if all(isinstance(level, int | float) for level in levels) else levels


def same_level(one: Any, other: Any) -> bool:
    """Are these the same level? An amount may come as a number or as its text."""
    try:
        return float(one) == float(other)
    except (TypeError, ValueError):
        return str(one) == str(other)


def best_beyond(curve: Curve) -> Literal["low", "high"] | None:
    """At which end of the range the best may lie beyond it; a plateau inside was seen and does not."""
    if curve.recommended is None or "plateau" in curve.parameters:
        return None
    return curve.recommended.edge


def mean_at(points: Sequence[BakePoint], settings: Mapping[str, Any]) -> float | None:
    """Raw mean of the bakes at these settings; None when there are none."""
    own = [p.observed for p in points if all(p.settings.get(name) == level for name, level in settings.items())]
    return sum(own) / len(own) if own else None
