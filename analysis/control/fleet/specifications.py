"""Which specification holds for a line, and how many of its readings lie outside?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import ibis
import numpy as np
from ibis.expr import types as ir
from numpy.typing import NDArray

from analysis.control.entering import check_specification
from analysis.control.fleet.readings import KEY, Readings
from analysis.control.results import Specification

Floats = NDArray[np.float64]

Z_95 = 1.959963984540054  # 97.5 % quantile of the normal distribution
EVERY = ""  # a specification without a product, response or site holds for all


@dataclass(frozen=True, kw_only=True)
class LineSpecification:
    """Limits that customers set for a product's response, perhaps at one site only; "" stands for every one."""

    product: str = EVERY
    response: str = EVERY
    site: str = EVERY
    specification: Specification

    def holds_for(self, product: str, site: str, response: str) -> bool:
        asked = ((self.product, product), (self.site, site), (self.response, response))
        return all(own in (EVERY, other) for own, other in asked)

    @property
    def closeness(self) -> tuple[bool, bool, bool]:
        return self.site != EVERY, self.product != EVERY, self.response != EVERY


def checked(specifications: Sequence[LineSpecification]) -> tuple[LineSpecification, ...]:
    """The same, the closest first. Raises TrialDataError for limits the wrong way round."""
    for each in specifications:
        named = each.specification.response or each.response or "every response"
        check_specification(replace(each.specification, response=named))
    return tuple(sorted(specifications, key=lambda each: each.closeness, reverse=True))


def specification_of(
    line: tuple[str, str, str, str], specifications: Sequence[LineSpecification]
) -> Specification | None:
    """The first that holds for (product, site, line, response); None when none does."""
    product, site, _, response = line
    return next((each.specification for each in specifications if each.holds_for(product, site, response)), None)


def spec_table(names: ir.Table, specifications: Sequence[LineSpecification], by: tuple[str, ...]) -> ir.Table:
    """``by``, ``lower_spec`` and ``upper_spec`` of every line, missing where there is none."""

    def of(limit: str) -> ir.Value:
        branches = [(_condition(each, names), _number(getattr(each.specification, limit))) for each in specifications]
        return ibis.cases(*branches, else_=ibis.null("float64"))

    return names.select(*by, lower_spec=of("lower"), upper_spec=of("upper"))


def outside(asked: Readings, wanted: ir.Table) -> ir.Table:
    """``by``, ``below_spec`` and ``above_spec``: readings outside, of the lines that have a limit on that side."""
    rows = asked.usable.join(wanted, list(asked.by))
    return rows.group_by(list(asked.by)).agg(
        below_spec=(rows.value < rows.lower_spec).cast("int64").sum(),
        above_spec=(rows.value > rows.upper_spec).cast("int64").sum(),
    )


def with_index(lines: ir.Table) -> ir.Table:
    """``lines`` with ``index`` and its 95 % interval: the nearer limit's distance in three total standard deviations.

    Cpk or Ppk where batches have one reading, else Ppk over batches, as in ``analysis.control.capability``. The
    interval is Bissell's with as many draws as there are batches, which is a little wide for several pieces a batch.
    """
    three = 3 * lines.total.nullif(0.0)
    below, above = (lines["mean"] - lines.lower_spec) / three, (lines.upper_spec - lines["mean"]) / three
    nearer = ibis.ifelse(below < above, below, above)
    index = ibis.coalesce(nearer, below, above)
    n = lines.batches.cast("float64")
    half = Z_95 * (1 / (9 * n) + index * index / (2 * (n - 1).nullif(0.0))).sqrt()
    return lines.mutate(index=index, index_low=index - half, index_high=index + half)


def index_of(
    *, batches: Floats, mean: Floats, total: Floats, lower: Floats, upper: Floats
) -> tuple[Floats, Floats, Floats]:
    """The same from arrays (lines,): index, low and high; NaN where there is none."""
    with np.errstate(divide="ignore", invalid="ignore"):
        three = 3 * np.where(total == 0, np.nan, total)
        index = np.fmin((mean - lower) / three, (upper - mean) / three)
        half = Z_95 * np.sqrt(1 / (9 * batches) + index**2 / (2 * np.where(batches == 1, np.nan, batches - 1)))
    return index, index - half, index + half


def _condition(each: LineSpecification, names: ir.Table) -> ir.Value:
    pairs = zip(KEY, (each.product, each.site, EVERY, each.response), strict=True)
    wanted = [names[name] == value for name, value in pairs if value != EVERY]
    return ibis.and_(*wanted) if wanted else ibis.literal(True)


def _number(limit: float | None) -> ir.Value:
    return ibis.null("float64") if limit is None else ibis.literal(float(limit))
