"""How many readings of each bake are worth taking, and by how many people?

A bake's mean by m people with k readings each scatters with the bakes themselves, with person by piece
over m and with the repeats over mk. What people add to all bakes alike drops out when the same people
read every bake; when whoever is there reads, it does not.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from analysis.control.gauge.results import Component, Worth, WorthPoint

HELPS = 0.05  # a further reading that narrows less is not worth its time: ours, no source
MOST_READINGS, MOST_PEOPLE = 12, 4
SHOWN = (1, 2, 3, 4, 6)


def worth_of(components: Mapping[str, Component]) -> Worth:
    variance = {key: one.variance for key, one in components.items()}
    enough = _enough(variance, 1)
    people = 1
    if "person" in variance:
        while people < MOST_PEOPLE and _gain(variance, people + 1, enough, people, enough) >= HELPS:
            people += 1
    most = MOST_PEOPLE if "person" in variance else 1
    points = [_point(variance, m, k) for m in range(1, most + 1) for k in sorted({*SHOWN, enough})]
    anyone = None
    if "person" in variance:
        anyone = math.sqrt(_of(variance, 1, 1) + variance["person"])
    return Worth(
        points=tuple(points), enough=enough, people=people, anyone_sd=anyone, floor=math.sqrt(variance["piece"])
    )


def _of(variance: Mapping[str, float], people: int, readings: int) -> float:
    measuring = variance.get("person by piece", 0.0) / people + variance["repeatability"] / (people * readings)
    return variance["piece"] + measuring


def _gain(variance: Mapping[str, float], people: int, readings: int, before: int, readings_before: int) -> float:
    earlier = _of(variance, before, readings_before)
    return 1 - math.sqrt(_of(variance, people, readings) / earlier) if earlier > 0 else 0.0


def _enough(variance: Mapping[str, float], people: int) -> int:
    readings = 1
    while readings < MOST_READINGS and _gain(variance, people, readings + 1, people, readings) >= HELPS:
        readings += 1
    return readings


def _point(variance: Mapping[str, float], people: int, readings: int) -> WorthPoint:
    whole = _of(variance, people, readings)
    gain = _gain(variance, people, readings, people, readings - 1) if readings > 1 else None
    return WorthPoint(
        people=people,
        readings=readings,
        sd=math.sqrt(whole),
        measuring=math.sqrt(max(whole - variance["piece"], 0.0)),
        gain=gain,
    )
