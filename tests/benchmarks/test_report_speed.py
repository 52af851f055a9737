"""How much longer than drawing its figures does a whole report take?

Run with ``pytest tests/benchmarks/test_report_speed.py -s``; it prints a ratio and asserts
no time. "Bare drawing" is what seaborn and matplotlib take for the same figures up to the
SVG they write; turning it into SVG for a page counts for the report, not for the drawing.
"""

from __future__ import annotations

import importlib.util
import os
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import pytest

from reports.figures import svg
from reports.page import trial_report
from reports.sections import amount, checked, mattered, taste

RUNS = int(os.environ.get("CRUMBWISE_BENCHMARK_RUNS", "3"))
DRAWING = (
    (mattered, ("draw_effects", "draw_half_normal", "draw_interaction", "draw_means")),
    (amount, ("draw_dose",)),
    (checked, ("draw_residuals_by_fit", "draw_residuals_by_order")),
    (taste, ("draw_taste",)),
)
OURS = ((svg, ("_exchange", "_tidy", "_introduce")),)


def _samples():
    where = Path(__file__).parents[1] / "reports" / "conftest.py"
    spec = importlib.util.spec_from_file_location("report_samples", where)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def timed(call: Callable, spent: list[float]) -> Callable:
    """``call``, adding its time to ``spent``."""

    def inner(*given, **named):
        begin = time.perf_counter()
        try:
            return call(*given, **named)
        finally:
            spent.append(time.perf_counter() - begin)

    return inner


@pytest.mark.parametrize("kind", ["dose", "screening", "factorial"])
def test_report_against_bare_drawing(kind, monkeypatch):
    samples = _samples()
    answer = getattr(samples, f"{kind}_answer")()
    notes = samples.taste_notes() if kind == "dose" else None
    trial_report(answer, title="warm", notes=notes, provenance={})  # imports and font cache
    drawing: list[float] = []
    ours: list[float] = []
    for places, spent in ((DRAWING, drawing), (OURS, ours)):
        for module, names in places:
            for name in names:
                monkeypatch.setattr(module, name, timed(getattr(module, name), spent))
    ratios = []
    for _ in range(RUNS):
        drawing.clear()
        ours.clear()
        begin = time.perf_counter()
        trial_report(answer, title="timed", notes=notes, provenance={})
        ratios.append((time.perf_counter() - begin) / (sum(drawing) - sum(ours)))
    assert drawing
    assert ours
    print(f"\nreport / bare drawing, {kind}: {median(ratios):.2f} ({sum(drawing) - sum(ours):.2f} s of drawing)")
