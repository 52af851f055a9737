"""What may each share of a blend be, when all shares add up to the whole?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.designs.columns import Floats
from analysis.designs.requests import DesignFactor, DesignRequest
from analysis.errors import PlanError

ROOM = 1e-9  # of the whole


@dataclass(frozen=True, kw_only=True)
class Blend:
    """The shares of one whole in the plan's order; ``low`` and ``high`` (q,) as parts of it, ``total`` in its unit."""

    names: tuple[str, ...]
    total: float
    low: Floats
    high: Floats

    def said(self, part: float) -> str:
        return f"{part * self.total:.6g}"


def total_of(factor: DesignFactor) -> float:
    """What the shares of the whole add up to: as told, else 100 for shares in % and 1 without a unit."""
    return factor.total if factor.total is not None else 100.0 if "%" in factor.unit else 1.0


def blend_of(request: DesignRequest) -> Blend:
    """The blend of a plan. Raises PlanError without two shares of one whole, and for bounds no blend keeps."""
    shares = [factor for factor in request.factors if factor.kind == "share"]
    if len(shares) < 2:
        raise PlanError(
            f"A blend has at least two shares; this plan has {len(shares)}.",
            where="factor",
            try_this='kind = "share" for each part of the whole, what is left over included',
        )
    _require_one_whole(shares)
    total = total_of(shares[0])
    blend = Blend(
        names=tuple(factor.name for factor in shares),
        total=total,
        low=np.array([_bound(factor, factor.low, 0.0, total) for factor in shares]),
        high=np.array([_bound(factor, factor.high, total, total) for factor in shares]),
    )
    _require_room(blend)
    return blend


def _require_one_whole(shares: Sequence[DesignFactor]) -> None:
    first = shares[0]
    for factor in shares[1:]:
        if factor.of.casefold() != first.of.casefold():
            raise PlanError(
                f'"{factor.name}" and "{first.name}" are shares of different wholes; a plan has one blend.',
                where=f"factor {factor.name}",
                try_this=f'of = "{first.of or "flour"}" for all shares, or two trials',
            )
        if total_of(factor) != total_of(first):
            raise PlanError(
                f'"{factor.name}" is a share of {total_of(factor):g}, "{first.name}" of {total_of(first):g}.',
                where=f"factor {factor.name}",
                try_this=f"total = {total_of(first):g} for all shares",
            )


def _bound(factor: DesignFactor, told: float | None, else_: float, total: float) -> float:
    value = else_ if told is None else float(told)
    if not math.isfinite(total) or total <= 0 or not 0 <= value <= total:
        raise PlanError(
            f'{value:g} is no share of {total:g} for "{factor.name}".',
            where=f"factor {factor.name}",
            try_this=f"low and high from 0 to {total:g}" if total > 0 else "total = 100",
        )
    return value / total


def _require_room(blend: Blend) -> None:
    """Low below high for each, and together neither too much nor too little."""
    for name, low, high in zip(blend.names, blend.low, blend.high, strict=True):
        if low >= high:
            raise PlanError(
                f'"{name}" has no room: low {blend.said(low)}, high {blend.said(high)}.',
                where=f"factor {name}",
                try_this="a low below the high; what is fixed is no factor, and total is what the others add up to",
            )
    whole = blend.said(1.0)
    for bounds, word, beyond, mend in (
        (blend.low, "low", blend.low.sum() >= 1 - ROOM, "lower a low"),
        (blend.high, "high", blend.high.sum() <= 1 + ROOM, "raise a high"),
    ):
        if beyond:
            listed = " + ".join(f"{blend.said(part)} ({name})" for name, part in zip(blend.names, bounds, strict=True))
            much = "no less" if word == "low" else "no more"
            raise PlanError(
                f"The bounds leave no blends: the {word}s {listed} add up to {much} than the whole, {whole}.",
                where="factor",
                try_this=mend + f", so that together they are {'less' if word == 'low' else 'more'} than {whole}",
            )


def share_at(part: float, total: float) -> float:
    """A share in its unit with nine digits of the whole, so that shares still add up to it."""
    return round(part * total, 9 - math.floor(math.log10(total))) + 0.0
