"""Between which limits does each line stay that does nothing but what it always does?

The limits of ``analysis.control.limits``, for very many lines at once: centre at the mean of the batch
means, spread from their moving ranges; a batch of another size than usual is judged by its own.
"""

from __future__ import annotations

import ibis
from ibis.expr import types as ir

from analysis.control.constants import SIGMAS, constants
from analysis.control.limits import TINY


def line_limits(batches: ir.Table, by: tuple[str, ...]) -> ir.Table:
    """One row a line: ``batches``, ``newest`` (place), ``centre``, ``spread`` of a batch mean, ``within``, ``inverse``.

    ``spread`` is missing with one batch, 0 where the readings do not differ.
    """
    before = batches.level.lag().over(group_by=list(by), order_by="place")
    moved = batches.select(*by, "place", "level", "size", "deviation", "sureness", step=(batches.level - before).abs())
    weight = moved.sureness.sum()
    sums = moved.group_by(list(by)).agg(
        batches=moved.count(),
        newest=moved.place.max(),
        centre=moved.level.mean(),
        step=moved.step.mean(),
        top=moved.level.abs().max(),
        inverse=(1.0 / moved["size"]).mean(),
        within=ibis.ifelse(weight > 0, (moved.deviation * moved.sureness).sum() / weight, 0.0),
    )
    least = TINY * sums.top
    spread = sums.step / constants(2).d2
    return sums.select(
        *by,
        "batches",
        "newest",
        "centre",
        "inverse",
        spread=ibis.ifelse(spread <= least, 0.0, spread),
        within=ibis.ifelse(sums.within <= least, 0.0, sums.within),
    )


def placed(batches: ir.Table, limits: ir.Table, by: tuple[str, ...]) -> ir.Table:
    """The batches with their line's limits and ``z``: three times the share of the way to the limit."""
    rows = batches.join(limits, list(by))
    off = rows.level - rows.centre
    return rows.mutate(off=off, z=off * (SIGMAS / 3.0) / _own_spread(rows))


def _own_spread(rows: ir.Table) -> ir.Value:
    """Standard deviation of the mean of a batch of this size; missing where it is 0."""
    total, within = rows.spread * rows.spread, rows.within * rows.within
    between = total - within * rows.inverse
    own = ibis.ifelse(between > 0, between + within / rows["size"], total / (rows.inverse * rows["size"]))
    return own.sqrt().nullif(0.0)
