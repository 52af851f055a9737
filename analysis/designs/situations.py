"""What does a baker want to know, and what can be done about it?

Plain values that the advice reads and gives; every sentence is made in ``analysis.words.advice``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse

Aim = Literal["which matter", "how much", "which kind", "as good", "best setting", "best blend"]
AIMS: tuple[Aim, ...] = get_args(Aim)


@dataclass(frozen=True, kw_only=True)
class Situation:
    """What a baker wants to know and can do.

    ``bakes_a_day`` and ``most_bakes`` None: no limit. What cannot be set afresh for each bake is
    ``hard_to_change`` in its factor. ``day`` names the block that a day of baking is.
    """

    aim: Aim
    factors: tuple[DesignFactor, ...]
    responses: tuple[DesignResponse, ...] = ()
    bakes_a_day: int | None = None
    most_bakes: int | None = None
    constraints: tuple[str, ...] = ()
    seed: int = 1
    day: str = "bake day"


@dataclass(frozen=True, kw_only=True)
class Reason:
    """One reason as a key and its facts; ``analysis.words.advice`` makes the sentence."""

    key: str
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A shape of design that could answer. ``tier`` 1 answers the question whole, 2 in part, 3 at a price.

    ``searched``: it is looked for by computer, which takes time.
    ``grown`` lists the keys to set for it, from the smallest on.
    """

    request: DesignRequest
    why: Reason
    tier: int = 1
    searched: bool = False
    grown: tuple[Mapping[str, Any], ...] = ({},)
