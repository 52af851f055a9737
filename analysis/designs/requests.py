"""What does a plan ask for, in plain values?

A plan file, a page or a notebook fills these in; ``lay_out`` reads them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Spacing = Literal["equal", "geometric"]


@dataclass(frozen=True, kw_only=True)
class DesignFactor:
    """One thing to change on purpose.

    An amount has ``values`` (chosen doses) or ``low`` and ``high`` with ``n_levels``
    (else the design's ``levels``) spaced evenly or in equal ratios. A category has
    ``levels`` in the order they are to be kept in. ``unit`` is that of an amount.
    """

    name: str
    kind: Literal["amount", "category", "share"]
    unit: str = ""
    low: float | None = None
    high: float | None = None
    values: tuple[float, ...] = ()
    n_levels: int | None = None
    spacing: Spacing = "equal"
    levels: tuple[str, ...] = ()
    hard_to_change: bool = False


@dataclass(frozen=True, kw_only=True)
class DesignResponse:
    """``spread``: standard deviation between bakes of one treatment, in ``unit``; ``matters`` likewise."""

    name: str
    unit: str = ""
    spread: float | None = None
    matters: float | None = None


@dataclass(frozen=True, kw_only=True)
class DesignRequest:
    """A whole design. ``block_size`` counts runs; ``runs`` and ``resolution`` choose a fraction.

    ``generators`` such as "E = ABCD" name the factors A, B, C … in their order.
    """

    kind: str
    factors: tuple[DesignFactor, ...]
    seed: int
    responses: tuple[DesignResponse, ...] = ()
    levels: int | None = None
    replicates: int = 1
    block: str | None = None
    block_size: int | None = None
    runs: int | None = None
    resolution: int | None = None
    generators: tuple[str, ...] = ()
    centre_points: int = 0
    accept_few_df: bool = False
    confidence: float = 0.95
