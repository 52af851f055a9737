"""How did each line of the fleet do: limits, alarms, readings outside the specification?

``line_table`` is one expression with a row for each line, ``alarm_table`` one with a row for each rule that a
batch completed; both in a fixed order, whatever engine runs them.
"""

from __future__ import annotations

from collections.abc import Sequence

import ibis
from ibis.expr import types as ir

from analysis.control.constants import SIGMAS
from analysis.control.fleet.limits import line_limits, placed
from analysis.control.fleet.readings import KEY, Readings, batch_means, missing, names
from analysis.control.fleet.rules import ABOVE, BELOW, column_of, with_rules
from analysis.control.fleet.specifications import LineSpecification, outside, spec_table, with_index
from analysis.control.rules import Rule

RECENT = 20  # the newest batches of a line, which say how it does now


def line_table(
    asked: Readings,
    *,
    rules: Sequence[Rule],
    largest: int,
    specifications: Sequence[LineSpecification] = (),
    recent: int = RECENT,
) -> ir.Table:
    """One row a line, ordered by product, site, line and response.

    ``readings`` (finite ones), ``missing``, ``batches``; ``mean`` of the batch means, ``sd`` of a batch mean by
    moving ranges, ``lower`` and ``upper`` limit, ``total`` spread of a piece of any batch; a count for
    each rule; ``alarming`` batches, of them ``recent`` ones; ``ago``: batches since the newest of them.
    With specifications ``lower_spec``, ``upper_spec``, readings ``below_spec`` and ``above_spec``, and ``index`` with
    ``index_low`` and ``index_high`` (see ``specifications.with_index``).
    """
    by, chosen = asked.by, tuple(rules)
    judged = _judged(asked, chosen, largest)
    known = names(asked)
    table = known.left_join(_sums(judged, chosen, by, recent), list(by)).drop(*_doubles(by))
    table = table.left_join(missing(asked), list(by)).drop(*_doubles(by))
    if specifications:
        wanted = spec_table(known, specifications, by)
        table = table.left_join(wanted, list(by)).drop(*_doubles(by))
        table = table.left_join(outside(asked, wanted), list(by)).drop(*_doubles(by))
    counts = ("readings", "missing", "batches", *(column_of(rule) for rule in chosen), "alarming", "recent")
    told = ["mean", "sd", "lower", "upper", "total", "ago"]
    if specifications:
        table = with_index(table)
        told += ["lower_spec", "upper_spec", "below_spec", "above_spec", "index", "index_low", "index_high"]
    return table.select(
        *KEY,
        **{name: table[name].fill_null(0).cast("int64") for name in counts},
        **{name: table[name].cast("float64") for name in told},
    ).order_by(list(KEY))


def alarm_table(asked: Readings, *, rules: Sequence[Rule], largest: int) -> ir.Table:
    """One row a completed rule: the line's names, ``place``, ``batch``, ``rule``, ``side``, ``level``, limits."""
    by, chosen = asked.by, tuple(rules)
    judged = _judged(asked, chosen, largest)
    each = [
        judged.filter(judged[column_of(rule)] != 0).select(
            *by,
            "place",
            "batch",
            rule=ibis.literal(rule.key),
            side=ibis.cases(
                (judged[column_of(rule)] == ABOVE, "above"), (judged[column_of(rule)] == BELOW, "below"), else_=""
            ),
            level=judged.level,
            centre=judged.centre,
            # Of this batch, whose size may not be the usual one.
            reach=(SIGMAS * judged.off / judged.z).abs(),
        )
        for rule in chosen
    ]
    found = ibis.union(*each) if len(each) > 1 else each[0]
    if by != KEY:
        found = found.join(names(asked), list(by))
    return found.select(*KEY, "place", "batch", "rule", "side", "level", "centre", "reach").order_by(
        [*KEY, "place", "rule"]
    )


def _judged(asked: Readings, rules: tuple[Rule, ...], largest: int) -> ir.Table:
    batches = batch_means(asked, largest=largest)
    return with_rules(placed(batches, line_limits(batches, asked.by), asked.by), rules, asked.by)


def _sums(judged: ir.Table, rules: tuple[Rule, ...], by: tuple[str, ...], recent: int) -> ir.Table:
    """One row a line, from its judged batches."""
    alarm = ibis.or_(*(judged[column_of(rule)] != 0 for rule in rules))
    off = judged.off
    sums = judged.group_by(list(by)).agg(
        readings=judged["size"].sum(),
        batches=judged.batches.max(),
        mean=judged.centre.max(),
        sd=judged.spread.max(),
        inverse=judged.inverse.max(),
        off=off.sum(),
        between=(off * off).sum(),
        squares=judged.squares.sum(),
        **{column_of(rule): (judged[column_of(rule)] != 0).sum() for rule in rules},
        alarming=alarm.sum(),
        recent=(alarm & (judged.place > judged.newest - recent)).sum(),
        ago=judged.newest.max() - judged.place.max(where=alarm),
    )
    reach = SIGMAS * sums.sd.nullif(0.0)
    return sums.mutate(total=_total(sums), lower=sums["mean"] - reach, upper=sums["mean"] + reach)


def _total(sums: ir.Table) -> ir.Value:
    """Standard deviation of a piece of any batch: between the batches and within them; missing with one batch."""
    batches = sums.batches.cast("float64")
    levels = (sums.between - sums.off * sums.off / batches) / (batches - 1).nullif(0.0)
    pieces = (sums.readings - sums.batches).cast("float64").nullif(0.0)
    within = (sums.squares / pieces).fill_null(0.0)
    between = levels - within * sums.inverse
    # Not "greatest": engines differ in what they make of a missing number there.
    return (within + ibis.ifelse(between < 0, 0.0, between)).sqrt()


def _doubles(by: tuple[str, ...]) -> list[str]:
    """What a left join leaves of the right table's keys."""
    return [f"{name}_right" for name in by]
