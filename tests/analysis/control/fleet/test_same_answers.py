"""Do table expressions, arrays and the charts of one product give the same answers on 1,000 random series?"""

from functools import cache

import ibis
import numpy as np
import pyarrow as pa
import pytest

from analysis.control.capability import capability_of
from analysis.control.charts import chart_batches
from analysis.control.fleet.lines import alarm_table, line_table
from analysis.control.fleet.one_pass import Block, pass_over
from analysis.control.fleet.readings import largest_batch, readings
from analysis.control.fleet.rules import column_of
from analysis.control.fleet.specifications import LineSpecification
from analysis.control.results import BatchSeries, Specification
from analysis.control.rules import RULES

LINES = 1000
ALL = tuple(RULES.values())
# Long enough for every pattern, and short, single and empty ones among them.
LENGTHS = (1, 2, 3, 7, 20, 40, 40, 41, 70)
SPEC = Specification(response="rise", lower=-2.5, upper=3.0)


def levels_of(kind, n, rng):
    """A series that is likely to complete patterns: steps, drifts, zigzags, calm ones, rounded ones, constants."""
    noise = rng.normal(0, 1, n)
    shapes = {
        0: noise,
        1: np.round(noise * 2) / 2,
        2: np.full(n, 45.1),
        3: np.cumsum(noise) * 0.3 + noise,
        4: np.tile([1.0, -1.0], n)[:n] * 2 + 0.3 * noise,
        5: np.where(np.arange(n) < n // 2, noise * 3, noise * 0.2),
        6: np.arange(n) * 0.1 + 0.3 * noise,
        7: noise + 2.0 * (np.arange(n) > 2 * n // 3),
    }
    return shapes[kind % len(shapes)]


@cache
def drawn(several):
    """1,000 series by line number: place -> readings (NaN and infinity among them)."""
    rng = np.random.Generator(np.random.PCG64(2026 + several))
    found = {}
    for line in range(LINES):
        levels = levels_of(line, int(rng.choice(LENGTHS)), rng)
        batches = []
        for level in levels:
            pieces = int(rng.integers(1, 6)) if several else 1
            constant = line % 8 == 2
            values = level + (0 if constant or not several else rng.normal(0, 0.5, pieces))
            values = np.broadcast_to(values, (pieces,)).copy()
            values[rng.random(pieces) < 0.02] = rng.choice([np.nan, np.inf])
            batches.append(values)
        found[line] = batches
    return found


@cache
def table(several):
    rows = [
        (line, f"product {line % 7}", "north", f"line {line}", "rise", f"B{place}", place, piece, value)
        for line, batches in drawn(several).items()
        for place, values in enumerate(batches, 1)
        for piece, value in enumerate(values.tolist(), 1)
    ]
    names = ("series", "product", "site", "line", "response", "batch", "place", "piece", "value")
    return pa.table(dict(zip(names, (pa.array(column) for column in zip(*rows, strict=True)), strict=True)))


@cache
def asked(several, *, by_names=False):
    connection = ibis.duckdb.connect()
    rows = table(several)
    # Shuffled: an engine is promised no order.
    mixed = rows.take(np.random.Generator(np.random.PCG64(5)).permutation(len(rows)))
    shown = ibis.memtable(mixed.drop_columns(["series", "piece"]) if by_names else mixed)
    given = readings(shown)
    largest = connection.to_pyarrow(largest_batch(given)).as_py()
    return connection, given, largest


@cache
def by_tables(several, *, by_names=False):
    connection, given, largest = asked(several, by_names=by_names)
    specs = [LineSpecification(specification=SPEC)]
    answer = connection.to_pyarrow(line_table(given, rules=ALL, largest=largest, specifications=specs)).to_pylist()
    return {int(row["line"].removeprefix("line ")): row for row in answer}


@cache
def by_arrays(several):
    rows = table(several)
    block = Block(**{name: rows[name].to_numpy() for name in ("series", "place", "value")})
    assert block.whole()
    lines = np.unique(rows["series"].to_numpy())
    limits = (np.full(len(lines), SPEC.lower), np.full(len(lines), SPEC.upper))
    return lines, pass_over(block, rules=ALL, recent=20, lower_spec=limits[0], upper_spec=limits[1])


@cache
def charts(several):
    """The level chart of each line that can be charted."""
    found = {}
    for line, batches in drawn(several).items():
        kept = {
            f"B{place}": tuple(values[np.isfinite(values)].tolist())
            for place, values in enumerate(batches, 1)
            if np.isfinite(values).any()
        }
        if len(kept) < 2:
            continue
        series = BatchSeries(response="rise", batches=tuple(kept), values=tuple(kept.values()))
        # The same kind for all lines of a table: single readings are batches of one.
        kind = "between" if any(len(values) > 1 for values in kept.values()) else "individuals"
        found[line] = series, chart_batches(series, kind=kind, rules=RULES)[0]
    return found


@pytest.mark.parametrize("several", [False, True], ids=["one piece", "several pieces"])
def test_alarms_and_limits_are_those_of_the_chart(several):
    answers = by_tables(several)
    known = charts(several)
    assert len(known) > 800
    for line, (series, chart) in known.items():
        row = answers[line]
        counted = {rule.key: sum(alarm.rule == rule.key for alarm in chart.alarms) for rule in ALL}
        assert {rule.key: row[column_of(rule)] for rule in ALL} == counted, line
        assert row["alarming"] == sum(bool(point.alarms) for point in chart.points)
        assert row["batches"] == len(series.batches)
        assert row["mean"] == pytest.approx(chart.limits.centre, abs=1e-12)
        if len({len(values) for values in series.values}) == 1:  # else the chart's limits are of the usual size
            assert row["sd"] == pytest.approx(chart.limits.sd, rel=1e-9)
            assert row["lower"] == (None if chart.limits.lower is None else pytest.approx(chart.limits.lower))
    for rule in ALL:
        assert sum(row[column_of(rule)] for row in answers.values()) > 0, rule.key


@pytest.mark.parametrize("several", [False, True], ids=["one piece", "several pieces"])
def test_arrays_say_what_tables_say(several):
    answers = by_tables(several)
    lines, columns = by_arrays(several)
    assert set(answers) == set(lines.tolist())
    wanted = {name: [answers[line][name] for line in lines.tolist()] for name in columns}
    for name, column in columns.items():
        if column.dtype.kind == "i":
            assert column.tolist() == wanted[name], name
        else:
            expected = np.array([np.nan if value is None else value for value in wanted[name]])
            np.testing.assert_allclose(column, expected, rtol=1e-9, atol=1e-12, err_msg=name)


@pytest.mark.parametrize("several", [False, True], ids=["one piece", "several pieces"])
def test_lines_are_told_apart_by_their_names_as_well_as_by_a_number(several):
    numbered, named = by_tables(several), by_tables(several, by_names=True)
    assert set(numbered) == set(named)
    for line, row in numbered.items():
        for name, value in row.items():
            close = isinstance(value, float)
            assert named[line][name] == (pytest.approx(value, rel=1e-9, abs=1e-12) if close else value), (line, name)


def test_each_alarm_is_listed_with_its_batch_and_side():
    connection, given, largest = asked(True)
    listed = connection.to_pyarrow(alarm_table(given, rules=ALL, largest=largest)).to_pylist()
    found = {}
    for row in listed:
        found.setdefault(int(row["line"].removeprefix("line ")), set()).add((row["batch"], row["rule"], row["side"]))
    for line, (_, chart) in charts(True).items():
        assert found.get(line, set()) == {(alarm.batch, alarm.rule, alarm.side) for alarm in chart.alarms}
    order = [(row["product"], row["line"], row["place"], row["rule"]) for row in listed]
    assert order == sorted(order)


def test_the_index_is_that_of_one_product():
    answers = by_tables(False)
    compared = 0
    for line, (series, chart) in charts(False).items():
        if len(series.batches) < 20 or line % 8 in (2, 5, 6):  # constant; not normal, which the product's way rescales
            continue
        alone = capability_of(series, SPEC, stable=not chart.alarms)
        row = answers[line]
        if alone.scale == "as read":
            compared += 1
            got = (row["index"], row["index_low"], row["index_high"])
            assert got == pytest.approx((alone.index.value, alone.index.low, alone.index.high), rel=1e-9)
            assert row["below_spec"] + row["above_spec"] == alone.outside.seen
        if compared == 60:
            return
    pytest.fail("too few lines to compare")


def test_the_index_over_batches_is_that_of_one_product():
    answers = by_tables(True)
    compared = 0
    for line, (series, chart) in charts(True).items():
        if len(series.batches) < 20 or line % 8 == 2:
            continue
        alone = capability_of(series, SPEC, stable=not chart.alarms)
        over = [one.value for one in alone.indices if one.index == "Ppk over batches"]
        if over:
            compared += 1
            assert answers[line]["index"] == pytest.approx(over[0], rel=1e-9)
        if compared == 30:  # its intervals take a while
            return
    pytest.fail("too few lines to compare")


def test_one_batch_has_no_limits_and_nothing_is_dropped_in_silence():
    answers = by_tables(False)
    for line, batches in drawn(False).items():
        values = np.concatenate(batches)
        row = answers[line]
        assert row["readings"] == np.isfinite(values).sum()
        assert row["missing"] == len(values) - row["readings"]
        if row["batches"] == 1:
            assert (row["sd"], row["lower"], row["upper"], row["alarming"]) == (None, None, None, 0)
    assert min(row["batches"] for row in answers.values()) <= 1
