"""What is true in the invented kitchen, and what should an analysis find?

Reads ``truth.toml``. Everything here is arithmetic on that file: no chance, no data.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Mapping
from functools import cache
from importlib.resources import files
from typing import Any

Settings = Mapping[str, float | str]

TRIALS = ("soda", "powder", "screening", "autumn")
ALIKE = ("soda", "autumn")  # trials of one product with soda and rise height in common


@cache
def truth() -> Mapping[str, Any]:
    """The whole file as nested mappings."""
    return tomllib.loads(_read("truth.toml"))


def plan_text(key: str) -> str:
    """The plan file of a trial (one of ``TRIALS``)."""
    return _read(f"plans/{truth()[key]['plan']}")


def mishaps(key: str) -> list[Mapping[str, Any]]:
    """What went wrong at the bench in a trial, as ``mishaps.toml`` lists it."""
    return tomllib.loads(_read("mishaps.toml"))[key]


def phrases() -> Mapping[str, Mapping[str, list[str]]]:
    """Phrases of taste notes by tag: "plain" ones come at any time, "fault" ones with a cause."""
    return tomllib.loads(_read("notes.toml"))


def _read(name: str) -> str:
    return files("demo_data").joinpath(name).read_text(encoding="utf-8")


def expected(key: str, response: str, settings: Settings) -> float:
    """The true mean of a response at a treatment, over all days and bakes (scores: before rounding)."""
    return _MEANS[(key, response)](truth()[key][response.replace(" ", "_")], settings)


def _hump(part: Mapping[str, Any], settings: Settings) -> float:
    shift = part.get("shift", {}).get(settings["acid source"], 0.0)
    return part["peak"] - part["curvature"] * (float(settings["soda"]) - part["best"]) ** 2 + shift


def _sloped(part: Mapping[str, Any], settings: Settings) -> float:
    return part["at_middle"] + part["slope"] * (float(settings["soda"]) - 1.5) + part["shift"][settings["acid source"]]


def _plateau(part: Mapping[str, Any], settings: Settings) -> float:
    return part["plateau"] - part["slope"] * max(0.0, part["knee"] - float(settings["powder"]))


def _two_levels(part: Mapping[str, Any], settings: Settings) -> float:
    """Half an effect up at the high level, half down at the low one; products for interactions."""
    sign = screening_signs(settings)
    return part["mean"] + sum(
        size / 2 * math.prod(sign[name] for name in term.split(":")) for term, size in part["effects"].items()
    )


_MEANS: Mapping[tuple[str, str], Callable[[Mapping[str, Any], Settings], float]] = {
    ("soda", "rise height"): _hump,
    ("soda", "crumb pH"): _sloped,
    ("soda", "crumb score"): _hump,
    ("autumn", "rise height"): _hump,
    ("powder", "rise height"): _plateau,
    ("screening", "rise height"): _two_levels,
    ("screening", "spread ratio"): _two_levels,
}


@cache
def screening_range() -> Mapping[str, tuple[float, float]]:
    """Low and high of each screened variable, as its plan file says."""
    plan = tomllib.loads(plan_text("screening"))
    return {factor["name"]: (float(factor["low"]), float(factor["high"])) for factor in plan["factor"]}


def screening_signs(settings: Settings) -> Mapping[str, float]:
    """Settings coded from -1 (low) to 1 (high)."""
    return {
        name: (2 * float(settings[name]) - low - high) / (high - low) for name, (low, high) in screening_range().items()
    }


def smallest_good_enough(key: str, within: float) -> float:
    """The smallest dose whose true rise is within ``within`` of the best (% of flour)."""
    part = truth()[key]["rise_height"]
    if key in ALIKE:
        return part["best"] - math.sqrt(within / part["curvature"])
    return part["knee"] - within / part["slope"]
