"""What stands beside and under the pictures of daily batches?"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.control.results import Chart, Point
from analysis.words.control import CHARTS, say_stability, say_value
from analysis.words.numbers import join_words, say_count, start

COLUMNS_OF_CHART = ("batch", "value", "lower limit", "upper limit", "alarms")

_MADE = {
    "individuals": "",
    "batch mean": "",
    "share": "share with ",
    "count": "count of ",
    "standard deviation": "SD within, ",
    "moving range": "step, ",
}


def title_of_axis(chart: Chart) -> str:
    """What is counted upwards: the response, and what was made of it."""
    if chart.kind == "several responses":
        return "distance from what is usual"
    return f"{_MADE.get(chart.kind, chart.kind + ', ')}{chart.response}"


def say_rules_of_point(point: Point) -> str:
    """ "outside the limits; eight on one side"; "–" where the batch raised none."""
    return "; ".join(point.alarms) or "–"


def say_chart_alt(chart: Chart) -> str:
    """Stable or not, and between what batches usually lie."""
    limits = chart.limits
    if limits.lower is None or limits.upper is None:
        return say_stability([chart])
    usual = f"usual: {say_value(limits.lower, chart, unit=False)} to {say_value(limits.upper, chart)}"
    return f"{say_stability([chart]).rstrip('.')}; {usual}."


def say_chart_caption(chart: Chart, *, lots: Sequence[str] = (), level: bool = False) -> str:
    """How the picture is to be read."""
    has_limits = any(each is not None for point in chart.points for each in (point.lower, point.upper))
    said = [f"{start(CHARTS.get(chart.kind, (chart.kind, ''))[0])} of {chart.response}, in order of baking"]
    said[0] = start(f"{chart.response}, {CHARTS.get(chart.kind, (chart.kind, ''))[0]}, in order of baking.")
    if has_limits:
        said.append("The band is where batches lie as long as nothing changes.")
    raised = sum(bool(point.alarms) for point in chart.points)
    if raised:
        said.append(f"Hollow: {say_count(raised, 'batch')} with an alarm; the first of each run is named.")
    if level:
        said.append("Dashed: the level once chance is taken out.")
    if lots:
        said.append(f"Below: {join_words(list(lots))}.")
    return " ".join(said)
