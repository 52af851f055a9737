"""What can somebody ask of a trial, and in what form is it asked for?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tracker.intake.plan_tables import FactorTable, ResponseTable

AIMS: Mapping[str, str] = {
    "which matter": "which of several things matter",
    "how much": "how much of one thing is best",
    "which kind": "which of several kinds is best",
    "as good": "whether a substitute is as good",
    "best setting": "the best setting of a few amounts",
    "best blend": "the best blend of a whole, such as flours",
}


@dataclass(frozen=True, kw_only=True)
class Asked:
    """One question. ``default`` is what an empty answer means; ``choices`` are numbered from 1.

    ``offers`` are answers that a page may show to be tapped; with ``many`` several of them, by number.
    """

    key: str
    words: str
    default: str
    help: str
    read: Callable[[str], Any]
    choices: tuple[str, ...] = ()
    offers: tuple[str, ...] = ()
    many: bool = False


@dataclass(kw_only=True)
class Wishes:
    """What was asked for.

    ``differ``: response -> how much two bakes of the same thing differ, in its unit.
    ``proposed``: response -> what its plausible range rests on, where it was taken as it was proposed.
    """

    aim: str = "which matter"
    factors: list[FactorTable] = field(default_factory=list)
    responses: list[ResponseTable] = field(default_factory=list)
    differ: dict[str, float] = field(default_factory=dict)
    proposed: dict[str, str] = field(default_factory=dict)
    bakes_a_day: int | None = None
    most_bakes: int | None = None
    formula: str | None = None
    flour_per_bake_g: float | None = None
    title: str = ""
