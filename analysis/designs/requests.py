"""What does a plan ask for, in plain values?

A plan file, a page or a notebook fills these in; ``lay_out`` reads them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Spacing = Literal["equal", "geometric"]
ModelName = Literal[
    "main effects", "interactions", "quadratic", "mixture linear", "mixture quadratic", "mixture special cubic"
]
MIXTURE_MODELS = ("mixture linear", "mixture quadratic", "mixture special cubic")


@dataclass(frozen=True, kw_only=True)
class DesignFactor:
    """One thing to change on purpose.

    An amount has ``values`` (chosen doses) or ``low`` and ``high`` with ``n_levels``
    (else the design's ``levels``) spaced evenly or in equal ratios. A category has
    ``levels`` in the order they are to be kept in. A share is a part of the whole ``of``,
    between ``low`` (0 when left out) and ``high`` (the whole when left out); the shares of
    one whole add up to ``total``. ``unit`` is that of an amount or share. ``weighed`` tells
    that it goes onto a scale, where nothing is below 0.
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
    of: str = ""
    total: float | None = None
    weighed: bool = False


@dataclass(frozen=True, kw_only=True)
class DesignResponse:
    """``spread``: standard deviation between bakes of one treatment, in ``unit``; ``matters`` likewise.

    ``whole_plot_spread``: standard deviation between whole plots, as large as ``spread`` when left out.
    """

    name: str
    unit: str = ""
    spread: float | None = None
    matters: float | None = None
    whole_plot_spread: float | None = None


@dataclass(frozen=True, kw_only=True)
class DesignRequest:
    """A whole design. ``block_size`` counts runs; ``runs`` and ``resolution`` choose a fraction.

    ``generators`` such as "E = ABCD" name the factors A, B, C … in their order. ``axial`` is
    how far the star points of a central composite lie out: "rotatable", "face", "orthogonal"
    or a distance in coded units; with ``inside`` low and high are the outermost doses, not
    the corners. ``rows`` and ``columns`` name what the rows and columns of a square or a
    strip-plot are. ``constraints`` such as "soda + powder <= 3" bound what may be baked
    together. ``oven_holds`` is how many bakes one oven load takes.
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
    centre_points: int | None = None
    accept_few_df: bool = False
    confidence: float = 0.95
    model: ModelName | None = None
    axial: str | float | None = None
    inside: bool = False
    rows: str | None = None
    columns: str | None = None
    whole_plots: int | None = None
    criterion: Literal["D", "I"] | None = None
    degree: int | None = None
    starts: int | None = None
    constraints: tuple[str, ...] = ()
    oven_holds: int | None = None
