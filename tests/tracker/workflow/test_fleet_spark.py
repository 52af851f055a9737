"""Does a Spark session give every line of a fleet the answers of the embedded engine?

One local session (Java 17 or newer and PySpark, ``crumbwise[spark]``). Where either is missing these tests are
skipped by name; with CRUMBWISE_NO_SKIPS=1 they fail instead.
"""

from __future__ import annotations

import importlib.util
import math
import os
import shutil

import numpy as np
import pytest

from analysis.control.rules import RULES
from tracker.workflow.batch_parquet import LineRows, write_site
from tracker.workflow.fleet import FleetAsked, list_alarms, look_over
from tracker.workflow.fleet_specifications import specifications_for

# Set for a small table: few parts, and no compiling of plans that run once.
SMALL = ("spark.sql.shuffle.partitions=2", "spark.sql.adaptive.enabled=false", "spark.sql.codegen.wholeStage=false")
SPARK = f"pyspark://local?{'&'.join(SMALL)}"
NO_SPARK = "no PySpark or no Java here"
RULES_ASKED = tuple(RULES)


@pytest.fixture(scope="module")
def spark():
    """The engine's URL, or a skip that says what is missing."""
    if importlib.util.find_spec("pyspark") is None or not (shutil.which("java") or os.environ.get("JAVA_HOME")):
        if os.environ.get("CRUMBWISE_NO_SKIPS") == "1":
            pytest.fail(NO_SPARK)
        pytest.skip(NO_SPARK)
    return SPARK


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """60 lines of two sites: several pieces a batch, gaps, constants, single batches, every pattern of the rules."""
    place = tmp_path_factory.mktemp("fleet")
    random = np.random.Generator(np.random.PCG64(8))
    for site in ("01", "north"):
        write_site(place, site, [line(number, random) for number in range(30)])
    return place


def line(number, random):
    n = (1, 2, 30, 45, 60)[number % 5]
    noise = random.normal(0, 1, n)
    level = (
        noise,
        np.full(n, 45.1),
        np.cumsum(noise) * 0.3 + noise,
        np.tile([2.0, -2.0], n)[:n] + 0.3 * noise,
        np.where(np.arange(n) < n // 2, 3 * noise, 0.2 * noise),
        0.1 * np.arange(n) + 0.3 * noise,
    )[number % 6]
    pieces = random.integers(1, 4, n)
    places = np.repeat(np.arange(1, n + 1), pieces)
    value = np.repeat(level, pieces) + (0 if number % 6 == 1 else random.normal(0, 0.5, len(places)))
    value[random.random(len(places)) < 0.02] = np.nan
    return LineRows(
        product="buns" if number < 10 else "scones",
        line=f"line {number:02d}",
        response="rise height",
        batch=[f"B{place}" for place in places],
        baked_at=np.datetime64("2026-01-01") + places,
        place=places,
        piece=np.concatenate([np.arange(1, count + 1) for count in pieces]),
        value=value,
    )


def differences(mine, other, at=""):
    """Where two documents differ, numbers by more than the order of adding up."""
    if isinstance(mine, float) and isinstance(other, float):
        return [] if math.isclose(mine, other, rel_tol=1e-9, abs_tol=1e-12) else [f"{at}: {mine} {other}"]
    if isinstance(mine, dict) and isinstance(other, dict) and mine.keys() == other.keys():
        return [found for key in mine for found in differences(mine[key], other[key], f"{at}/{key}")]
    if isinstance(mine, list) and isinstance(other, list) and len(mine) == len(other):
        return [
            found for n, pair in enumerate(zip(mine, other, strict=True)) for found in differences(*pair, f"{at}/{n}")
        ]
    return [] if mine == other else [f"{at}: {mine} {other}"]


def test_a_difference_is_found():
    assert differences({"a": [1.0, None]}, {"a": [1.0 + 1e-13, None]}) == []
    assert len(differences({"a": [1.0, None, 2]}, {"a": [1.0 + 1e-6, 0.0, 3]})) == 3


def test_a_cluster_says_what_the_embedded_engine_says(spark, folder):
    spec = specifications_for(str(folder), lower=-2.0, upper=2.5)
    documents = []
    for engine in (None, "duckdb", spark):
        asked = FleetAsked(place=str(folder), engine=engine, rules=RULES_ASKED, specifications=spec)
        documents.append(look_over(asked).to_json())
    assert [document.pop("engine") for document in documents] == ["one pass", "duckdb", "pyspark://local"]
    passed, embedded, cluster = documents
    assert len(cluster["lines"]) == 60
    assert sum(each["alarming_batches"] for each in cluster["lines"]) > 100
    assert differences(cluster, embedded) == []
    assert differences(embedded, passed) == []


def test_a_cluster_lists_the_same_alarms(spark, folder):
    listed = [list_alarms(FleetAsked(place=str(folder), engine=engine)).to_pylist() for engine in ("duckdb", spark)]
    assert len(listed[0]) > 100
    assert differences(*listed) == []
