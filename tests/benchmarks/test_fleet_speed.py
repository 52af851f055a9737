"""What do limits and rules over very many lines cost, beside a bare scan of the same Parquet and beside pandas?

    pytest -s tests/benchmarks/test_fleet_speed.py

One reading a batch, 5,000 batches a line, whole random doubles, so that nothing of the values is compressed away:
500 lines (2.5 million readings), or with CRUMBWISE_LARGE=1 10,000 lines (50 million readings, 450 MB, a few minutes).
Every figure is the least processor time of some runs, each of a process of its own, from the files to the answer,
without the imports: other work on the machine then decides less. The bare scan is DuckDB's mean and standard deviation
by the one number of a line, the cheapest way to group; the scan by product, site, line and response is shown beside it.
pandas does limits and the two usual rules; of the large file it gets a tenth of the lines, and ten times that is taken.
"""

import json
import os
import subprocess
import sys

import numpy as np
import pyarrow as pa
import pytest

from tracker.workflow.batch_parquet import LineRows, write_site

LARGE = bool(os.environ.get("CRUMBWISE_LARGE"))
BATCHES = 5_000
LINES_A_SITE = 500
SITES = 20 if LARGE else 1
# 2.5 million readings take so short that opening the files counts as well.
OUTSIDE_WITHIN, DEFAULT_WITHIN, PANDAS_TIMES = (3.0, 5.0, 4.0) if LARGE else (4.0, 6.0, 2.0)

WORK = {
    "bare": """
import duckdb
def work():
    rows = duckdb.sql(f"SELECT series, avg(value), stddev(value) FROM {FILES} GROUP BY series").fetchall()
    return {"lines": len(rows)}
""",
    "bare by names": """
import duckdb
def work():
    by = "product, site, line, response"
    rows = duckdb.sql(f"SELECT {by}, avg(value), stddev(value) FROM {FILES} GROUP BY ALL").fetchall()
    return {"lines": len(rows)}
""",
    "outside": """
from tracker.workflow.fleet import FleetAsked, look_over
def work():
    return told(look_over(FleetAsked(place=FOLDER, rules=("outside the limits",), engine=ENGINE)).fleet)
""",
    "default": """
from tracker.workflow.fleet import FleetAsked, look_over
def work():
    return told(look_over(FleetAsked(place=FOLDER, engine=ENGINE)).fleet)
""",
    "all": """
from analysis.control.rules import RULES
from tracker.workflow.fleet import FleetAsked, look_over
def work():
    return told(look_over(FleetAsked(place=FOLDER, rules=tuple(RULES), engine=ENGINE)).fleet)
""",
    "pandas": """
import numpy as np
import pandas as pd
from pathlib import Path
def work():
    paths = sorted(Path(FOLDER).rglob("*.parquet"))
    table = pd.concat([pd.read_parquet(path, columns=["series", "value"]) for path in paths], ignore_index=True)
    by = table["series"]
    value = table["value"]
    mean = value.groupby(by).transform("mean")
    step = value.groupby(by).diff().abs()
    sd = step.groupby(by).transform("mean") / 1.1283791670955126
    off = value - mean
    outside = (off.abs() > 3 * sd).groupby(by).sum()
    side = np.sign(off)
    run = (side.ne(side.shift()) | by.ne(by.shift())).cumsum()
    eight = (side.groupby(run).cumcount() >= 7).groupby(by).sum()
    return {"lines": len(outside), "outside": int(outside.sum()), "eight": int(eight.sum())}
""",
}
HARNESS = """
import json, resource, sys, time
FOLDER, ENGINE = sys.argv[1], sys.argv[2] or None
FILES = f"read_parquet('{FOLDER}/**/*.parquet', hive_partitioning = false)"
def told(fleet):
    counted = {rule: sum(line.alarms[rule] for line in fleet.lines) for rule in fleet.rules}
    eight = counted.get("eight on one side")
    return {"lines": len(fleet.lines), "outside": counted["outside the limits"], "eight": eight, "engine": fleet.engine}
"""
MEASURE = """
before, began = time.process_time(), time.perf_counter()
answer = work()
answer |= {"cpu": time.process_time() - before, "wall": time.perf_counter() - began}
answer["gib"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
print(json.dumps(answer))
"""


def run(what, folder, *, times=3 if LARGE else 2, engine=""):
    """The answer of the quickest of some runs, each in a process of its own; memory is the largest of them."""
    found = []
    for _ in range(times):
        script = HARNESS + WORK[what] + MEASURE
        ended = subprocess.run(
            [sys.executable, "-W", "ignore", "-c", script, str(folder), engine], capture_output=True, text=True
        )
        assert ended.returncode == 0, ended.stderr
        found.append(json.loads(ended.stdout.splitlines()[-1]))  # a long query draws its progress first
    best = min(found, key=lambda answer: answer["cpu"])
    return best | {"gib": max(answer["gib"] for answer in found)}


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    """The folder of all sites, and one with as many lines as pandas gets."""
    place = tmp_path_factory.mktemp("fleet")
    batches = pa.array([f"B-{number:05d}" for number in range(1, BATCHES + 1)])
    places = np.arange(1, BATCHES + 1)
    days = np.datetime64("2012-01-01T05:30", "us") + places.astype("timedelta64[D]")
    random = np.random.Generator(np.random.PCG64(50))

    def line(number):
        return LineRows(
            product=f"product {number // 10:02d}",
            line=f"line {number % 10}",
            response="rise height",
            batch=batches,
            baked_at=days,
            place=places,
            piece=np.ones(BATCHES, dtype=np.int32),
            value=random.normal(44, 2, BATCHES),
        )

    for site in range(SITES):
        path = write_site(place / "all", f"site {site:02d}", map(line, range(LINES_A_SITE)))
        if site < max(SITES // 10, 1):
            other = place / "tenth" / path.parent.name
            other.mkdir(parents=True)
            (other / path.name).symlink_to(path)
    yield place
    for path in place.rglob("*.parquet"):  # half a gigabyte is not left for pytest's next rounds
        path.unlink()


def show(name, answer, beside):
    ratio = answer["cpu"] / beside["cpu"]
    print(
        f"\n{name}: {answer['cpu']:.2f} s of processor, {answer['wall']:.2f} s, {answer['gib']:.2f} GiB, {ratio:.2f} x",
        end="",
    )
    return ratio


def test_a_pass_costs_little_more_than_a_bare_scan(fleet):
    whole = fleet / "all"
    size = sum(path.stat().st_size for path in whole.rglob("*.parquet"))
    load = os.getloadavg()[0]
    print(
        f"\n{SITES * LINES_A_SITE * BATCHES / 1e6:.1f} million readings, {size / 1e6:.0f} MB, load {load:.1f}", end=""
    )
    bare = run("bare", whole)
    show("bare scan by number", bare, bare)
    show("bare scan by names", run("bare by names", whole, times=1), bare)
    outside = run("outside", whole)
    default = run("default", whole)
    assert {answer["engine"] for answer in (outside, default)} == {"one pass"}
    assert {answer["lines"] for answer in (bare, outside, default)} == {SITES * LINES_A_SITE}
    # Of 1,000 normal batches some 2.7 lie outside and 7.8 complete a run of eight.
    assert outside["outside"] / (SITES * LINES_A_SITE * BATCHES) == pytest.approx(0.0027, abs=0.0003)
    assert default["eight"] / (SITES * LINES_A_SITE * BATCHES) == pytest.approx(2 * 0.5**8, abs=0.0005)
    assert show("limits and outside", outside, bare) <= OUTSIDE_WITHIN
    assert show("limits and both usual rules", default, bare) <= DEFAULT_WITHIN
    show("limits and all eight rules", run("all", whole, times=1), bare)
    assert max(outside["gib"], default["gib"]) < 1.5

    tenth = fleet / "tenth"
    share = max(SITES // 10, 1) / SITES
    pandas, mine = run("pandas", tenth, times=2), run("default", tenth) if LARGE else default
    assert {key: pandas[key] for key in ("lines", "outside", "eight")} == {
        key: mine[key] for key in ("lines", "outside", "eight")
    }
    scaled = pandas | {"cpu": pandas["cpu"] / share, "wall": pandas["wall"] / share}
    show(f"pandas on a share of {share:g}, scaled up", scaled, bare)
    assert scaled["cpu"] >= PANDAS_TIMES * default["cpu"]
    if LARGE:
        linear = default["cpu"] / (mine["cpu"] / share)
        print(f"\ncost of a reading, 50 million against 5 million: {linear:.2f}")
        assert linear <= 1.5


def test_the_expression_itself_on_the_embedded_engine(fleet):
    """What the same takes where lines do not lie whole: shown, and held to the answers."""
    part = fleet / "tenth"
    bare, passed = run("bare", part, times=1), run("default", part, times=1)
    expression = run("default", part, times=1, engine="duckdb")
    assert {key: expression[key] for key in ("lines", "outside", "eight")} == {
        key: passed[key] for key in ("lines", "outside", "eight")
    }
    show("expression on DuckDB, both usual rules", expression, bare)
    assert expression["engine"] == "duckdb"
