"""How much longer than drawing its figures does a whole report take, and how heavy is it?

Run with ``pytest tests/benchmarks/test_report_speed.py -s``; it prints ratios within one run. "Bare drawing" is what
seaborn and matplotlib take for the same figures up to the SVG they write; turning it into SVG for a page counts for the
report, not for the drawing.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import pkgutil
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import numpy as np
import pandas as pd
import pytest

import reports.figures
import reports.sections
from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from reports.figures import svg
from reports.page import trial_report

figures_room, sections_room = reports.figures.__path__, reports.sections.__path__
RUNS = int(os.environ.get("CRUMBWISE_BENCHMARK_RUNS", "3"))
OURS = ("_exchange", "_tidy", "_introduce")
HEAVIEST = 1_500_000  # bytes of a report of 10,000 readings


def _samples():
    where = Path(__file__).parents[1] / "reports" / "conftest.py"
    spec = importlib.util.spec_from_file_location("report_samples", where)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def timed(call: Callable, spent: list[float], inside: list[int] | None = None) -> Callable:
    """``call``, adding its time to ``spent``; of calls that share ``inside`` only the outermost adds."""
    inside = [0] if inside is None else inside

    def inner(*given, **named):
        begin = time.perf_counter()
        inside[0] += 1
        try:
            return call(*given, **named)
        finally:
            inside[0] -= 1
            if not inside[0]:
                spent.append(time.perf_counter() - begin)

    return inner


@pytest.fixture
def spent(monkeypatch) -> tuple[list[float], list[float]]:
    """(seconds of every outermost call that draws a figure, seconds of our own work on its SVG)."""
    drawing: list[float] = []
    ours: list[float] = []
    figures = [importlib.import_module(f"reports.figures.{m.name}") for m in pkgutil.iter_modules(figures_room)]
    sections = [importlib.import_module(f"reports.sections.{m.name}") for m in pkgutil.iter_modules(sections_room)]
    depth = [0]
    drawn = {
        value: timed(value, drawing, depth)
        for module in figures
        for name, value in vars(module).items()
        if name.startswith("draw_") and value.__module__ == module.__name__
    }
    for module in [*figures, *sections]:
        for name, value in list(vars(module).items()):
            if name.startswith("draw_") and value in drawn:
                monkeypatch.setattr(module, name, drawn[value])
    for name in OURS:
        monkeypatch.setattr(svg, name, timed(getattr(svg, name), ours))
    return drawing, ours


def ratio(make: Callable[[], object], spent: tuple[list[float], list[float]]) -> tuple[float, float]:
    """(the median of the whole over bare drawing, seconds of bare drawing)."""
    drawing, ours = spent
    ratios, bare = [], 0.0
    for _ in range(RUNS):
        drawing.clear()
        ours.clear()
        begin = time.perf_counter()
        make()
        whole, bare = time.perf_counter() - begin, sum(drawing) - sum(ours)
        ratios.append(whole / bare)
    return median(ratios), bare


@pytest.mark.parametrize("kind", ["dose", "screening", "factorial"])
def test_report_against_bare_drawing(kind, spent):
    samples = _samples()
    answer = getattr(samples, f"{kind}_answer")()
    notes = samples.taste_notes() if kind == "dose" else None
    trial_report(answer, title="warm", notes=notes, provenance={})  # imports and font cache
    times, bare = ratio(lambda: trial_report(answer, title="timed", notes=notes, provenance={}), spent)
    print(f"\nreport / bare drawing, {kind}: {times:.2f} ({bare:.2f} s of drawing)")
    assert bare > 0


def test_ten_thousand_readings_in_at_least_twelve_pictures(spent):
    """Two responses of 5,000 bakes each, over three factors and three days."""
    answer = _ten_thousand()
    page = trial_report(answer, title="warm", provenance={})
    times, bare = ratio(lambda: trial_report(answer, title="timed", provenance={}), spent)
    pictures, size = page.count("<svg"), len(page.encode())
    print(f"\nreport / bare drawing, {pictures} pictures: {times:.2f} ({bare:.2f} s of drawing), {size / 1e6:.2f} MB")
    assert pictures >= 12
    assert size < HEAVIEST
    assert sum(result.n_readings for result in answer.responses) >= 10_000


def _ten_thousand():
    chance = np.random.Generator(np.random.PCG64(2))
    ways = ("by hand", "whisk", "paddle")
    table = pd.DataFrame(
        {
            "powder": chance.choice([1.0, 2.0, 3.0], 5000),
            "mixing": chance.choice(ways, 5000),
            "oven": chance.choice([170.0, 190.0], 5000),
            "day": chance.choice(["1", "2", "3"], 5000),
        }
    )
    way = table["mixing"].map(ways.index)
    table["rise"] = 30 + 4 * table["powder"] + 2 * way + 1.5 * way * table["powder"] + chance.normal(0, 2, 5000)
    table["spread"] = 60 - 2 * table["powder"] + way + 0.1 * table["oven"] + chance.normal(0, 2, 5000)
    factors = (
        Factor(name="powder", kind="amount", unit="% flour"),
        Factor(name="mixing", kind="category", levels=ways),
        Factor(name="oven", kind="amount", unit="°C"),
    )
    responses = tuple(Response(name=name, unit="mm", matters=3.0) for name in ("rise", "spread"))
    asked = Question(factors=factors, responses=responses, kind="factors", blocks=("day",), model="interactions")
    return analyse(table.round(1), asked)
