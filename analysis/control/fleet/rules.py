"""At which batches is a rule complete, as a table expression?

``analysis.control.rules`` is the one table of rules; each of its patterns is one window of batches here.
"""

from __future__ import annotations

import ibis
from ibis.expr import types as ir

from analysis.control.rules import ROUNDING, Rule

ABOVE, BELOW, NO_SIDE = 1, -1, 2


def column_of(rule: Rule) -> str:
    """``eight on one side`` -> ``eight_on_one_side``."""
    return rule.key.replace(" ", "_")


def with_rules(placed: ir.Table, rules: tuple[Rule, ...], by: tuple[str, ...]) -> ir.Table:
    """``placed`` with a column for each rule: 1 above (or rising), -1 below (or falling), 2 without a side, 0 none."""
    table = placed
    if any(rule.pattern in ("trend", "alternating") for rule in rules):
        table = _with_turns(table, by)
    return table.mutate(**{column_of(rule): _completed_on(rule, table, by) for rule in rules})


def _completed_on(rule: Rule, table: ir.Table, by: tuple[str, ...]) -> ir.Value:
    z, far = table.z, rule.distance
    if rule.pattern == "beyond":
        return _beyond(rule, table, by)
    if rule.pattern == "trend":
        rising = _all_of(table.step > 0, rule.n - 1, table, by)
        falling = _all_of(table.step < 0, rule.n - 1, table, by)
        return _one(rising) - _one(falling)
    if rule.pattern == "alternating":
        return NO_SIDE * _one(_all_of(table.turn, rule.n - 2, table, by))
    hit = z.abs() <= far + ROUNDING if rule.pattern == "close" else z.abs() > far + ROUNDING
    return NO_SIDE * _one(_all_of(hit, rule.n, table, by))


def _beyond(rule: Rule, table: ir.Table, by: tuple[str, ...]) -> ir.Value:
    above, below = table.z > rule.distance + ROUNDING, table.z < -rule.distance - ROUNDING
    if rule.k == rule.n:  # one window instead of two: only a run on one side adds up to n
        side = _one(above) - _one(below)
        if rule.n == 1:
            return side
        total = _sum_over(side, rule.n, table, by)
        return _one(total == rule.n) - _one(total == -rule.n)
    enough = (_sum_over(_one(hit), rule.n, table, by) >= rule.k for hit in (above, below))
    up, down = (hit & most for hit, most in zip((above, below), enough, strict=True))
    return _one(up) - _one(down)


def _with_turns(table: ir.Table, by: tuple[str, ...]) -> ir.Table:
    """``step``: 1 up, -1 down, 0 level or unknown, from the batch before; ``turn``: against the step before."""
    gap = table.z - table.z.lag().over(group_by=list(by), order_by="place")
    stepped = table.mutate(step=_one(gap > ROUNDING) - _one(gap < -ROUNDING))
    before = stepped.step.lag().over(group_by=list(by), order_by="place")
    return stepped.mutate(turn=stepped.step * before < 0)


def _all_of(hit: ir.Value, n: int, table: ir.Table, by: tuple[str, ...]) -> ir.Value:
    return _sum_over(_one(hit), n, table, by) == n


def _sum_over(number: ir.Value, n: int, table: ir.Table, by: tuple[str, ...]) -> ir.Value:
    """Sum over the newest ``n`` batches; fewer at the beginning of a line."""
    return number.sum().over(ibis.window(preceding=n - 1, following=0, group_by=list(by), order_by="place"))


def _one(hit: ir.Value) -> ir.Value:
    """1 where it is so, 0 where it is not or cannot be known."""
    return ibis.ifelse(hit.fill_null(False), 1, 0)
