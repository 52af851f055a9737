"""What is a sheet for the bench, and a month of batches, tested on?"""

from __future__ import annotations

from datetime import date

import numpy as np

from analysis.control.causes import find_causes
from analysis.control.charts import chart_batches
from analysis.control.results import BatchSeries, Specification
from analysis.control.rules import DEFAULT
from analysis.control.why_results import MadeWith
from analysis.words.control import each_alarm
from reports.figures.picture import Table
from reports.sections.batches import AlarmTold, BatchesTold, ResponseTold
from reports.sheet import Sheet, SheetDay, SheetResponse, SheetRun, Weighed


def sample_sheet(**changes: object) -> Sheet:
    """Twelve runs over two days: weights, a score, pieces and repeat readings."""
    amounts = (
        ("flour", "300"),
        ("yogurt", "243.6"),
        ("sugar", "90"),
        ("butter", "75"),
        ("egg", "100"),
        ("baking soda", "4.5"),
    )
    weights = tuple(Weighed(ingredient=name, grams=grams) for name, grams in amounts)
    codes = ["K7Q", "M2F", "4TD", "R9B", "8HC", "P3W", "X5N", "T6J", "L4G", "V7S", "2DK", "B8R"]
    runs = [
        SheetRun(bake_order=i, code=code, weights=weights, settings=(("oven", "180 °C"),))
        for i, code in enumerate(codes, start=1)
    ]
    responses = (
        SheetResponse(name="rise height", unit="mm", pieces=2, readings=2, plausible=(10, 120)),
        SheetResponse(name="crumb score", scale="score", anchors=("gummy", "coarse", "fair", "fine", "fine and even")),
        SheetResponse(name="soapy", scale="yes-no"),
        SheetResponse(name="holes", scale="count"),
    )
    days = (SheetDay(block="bake day 1", runs=tuple(runs[:6])), SheetDay(block="bake day 2", runs=tuple(runs[6:])))
    made = {
        "trial": "soda and acid",
        "title": "Soda against acid",
        "question": "How much soda?",
        "kitchen": "a kitchen",
        "formula": "loaf",
        "flour_per_bake_g": 300.0,
        "audit_head": "ab" * 32,
        "plan_hash": "cd" * 32,
        "made_on": "2026-11-25",
        "cautions": ("Few bakes: only large effects will show.",),
        "responses": responses,
        "days": days,
    }
    return Sheet(**(made | changes))  # type: ignore[arg-type]


def month_of_batches(*, step: float = -4.0, product: str = "scones", batches: int = 60) -> BatchesTold:
    """60 batches of scones, three pieces each; the second of three lots of flour (21 to 40) bakes ``step`` mm off."""
    chance = np.random.Generator(np.random.PCG64(5))
    names = tuple(str(at + 1) for at in range(batches))
    flour = [f"F-{1 + at // 20}" for at in range(batches)]
    level = [43 + (step if lot == "F-2" else 0) + chance.normal(0, 0.7) for lot in flour]
    series = BatchSeries(
        response="rise height",
        unit="mm",
        batches=names,
        values=tuple(tuple(float(each + chance.normal(0, 0.8)) for _ in range(3)) for each in level),
    )
    charts = chart_batches(series)
    alarms = tuple(
        AlarmTold(batch=alarm.batch, response="rise height", words=words)
        for chart in charts
        for alarm, words in zip(chart.alarms, each_alarm(chart), strict=True)
    )
    one = ResponseTold(
        series=series,
        charts=charts,
        specification=Specification(response="rise height", unit="mm", lower=40.0, upper=46.0),
        why=find_causes(MadeWith(series=series, lots={"flour": tuple(flour)}, units={"rise height": "mm"})),
    )
    return BatchesTold(
        product=product,
        kind="month",
        first=date(2026, 4, 1),
        last=date(2026, 4, 30),
        batches=names,
        responses=(one,),
        made_with={"flour": dict(zip(names, flour, strict=True))},
        alarms=alarms,
        causes=(("new flour", "2", "2", "33", "asked the mill"),) if alarms else (),
        decisions=(("40", "hold", "too low"), ("41", "accept", "seen")),
        rows=Table(columns=("batch", "rise height"), rows=tuple((name, "43") for name in names[:25])),
        rules=DEFAULT,
        provenance={"content sha256": "3f" * 32, "command": "crumbwise batch report scones"},
        invented=True,
    )
