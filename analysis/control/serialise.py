"""How does a machine read the charts of a series of batches?

Described by ``analysis/schema/chart.schema.json``. Keys are only added within a major version. A limit
that does not exist is null, and a caution says why; NaN never appears.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict
from importlib.resources import files
from typing import Any

from analysis.control.results import Alarm, Capability, Chart, Limits, Point, Specification
from analysis.control.rule_costs import RuleCost
from analysis.control.rules import RULES
from analysis.control.stability import stability_of
from analysis.serialise import plain_values
from analysis.words.control import (
    chart_title,
    each_alarm,
    say_caution,
    say_false_alarms,
    say_limits,
    say_next_step,
    say_rule,
    say_stability,
)

SCHEMA_VERSION = "1.0"

Json = dict[str, Any]


def chart_json(
    charts: Sequence[Sequence[Chart]],
    *,
    capability: Mapping[str, Sequence[Capability]] | None = None,
    source: str = "",
    rows: Mapping[str, object] | None = None,
    rules: Sequence[str] = (),
    cost: RuleCost | None = None,
    specifications: Sequence[Specification] = (),
    capability_words: Sequence[str] = (),
    remarks: Sequence[str] = (),
    short: Collection[str] = (),
) -> Json:
    """Plain dicts, lists, strings, finite numbers, booleans and None.

    ``charts`` has one group for each response (level first), ``capability`` the indices of each response.
    ``rows`` tells what was read and left out, ``cost`` how often the rules give a false alarm;
    ``short`` names the responses that do not keep their specification.
    """
    document = {
        "schema_version": SCHEMA_VERSION,
        "source": source,
        "rows": rows,
        "rules": [{"rule": rule, "words": say_rule(rule)} for rule in rules if rule in RULES],
        "false_alarms": None if cost is None else _cost(cost),
        "responses": [_response(group, group[0].response in short) for group in charts if group],
        "charts": [_chart(chart) for group in charts for chart in group],
        "specifications": [asdict(one) for one in specifications],
        "capability": [
            {"response": response} | asdict(one) for response, indices in (capability or {}).items() for one in indices
        ],
        "capability_words": list(capability_words),
        "remarks": list(remarks),
    }
    plain: Json = plain_values(document, "chart")
    return plain


def _response(group: Sequence[Chart], short: bool) -> Json:
    found = stability_of(group)
    return {
        "response": group[0].response,
        "unit": group[0].unit,
        "stable": found.stable,
        "alarmed": list(found.alarmed),
        "expected_alarms": found.expected,
        "headline": say_stability(group),
        "next_step": say_next_step(group, short=short),
    }


def _cost(cost: RuleCost) -> Json:
    return {
        "run_length": cost.run_length,
        "per_100": cost.per_100,
        "within_25": cost.within_25,
        "half_width": cost.half_width,
        "words": say_false_alarms(cost),
    }


def _chart(chart: Chart) -> Json:
    return {
        "kind": chart.kind,
        "title": chart_title(chart),
        "response": chart.response,
        "unit": chart.unit,
        "phase": chart.phase,
        "limits": limits_json(chart.limits),
        "points": [_point(point) for point in chart.points],
        "alarms": [_alarm(alarm, words) for alarm, words in zip(chart.alarms, each_alarm(chart), strict=True)],
        "cautions": [{"caution": caution, "words": say_caution(caution, chart)} for caution in chart.cautions],
        "words": list(say_limits(chart)),
        "more": dict(chart.more),
    }


def limits_json(limits: Limits) -> Json:
    """The limits with where they come from."""
    return asdict(limits) | {"numbers": dict(limits.numbers)}


def _point(point: Point) -> Json:
    return asdict(point) | {"alarms": list(point.alarms)}


def _alarm(alarm: Alarm, words: str) -> Json:
    return {
        "batch": alarm.batch,
        "rule": alarm.rule,
        "words": words,
        "since": alarm.since,
        "side": alarm.side or None,
        "value": alarm.value,
    }


def schema() -> Json:
    """The JSON Schema (2020-12) of ``chart_json``."""
    text = files("analysis").joinpath("schema/chart.schema.json").read_text(encoding="utf-8")
    loaded: Json = json.loads(text)
    return loaded
