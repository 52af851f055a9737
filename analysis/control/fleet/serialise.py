"""How does a machine read what a fleet did?

Described by ``analysis/schema/fleet.schema.json``. Keys are only added within a major version.
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from analysis.control.fleet.results import Fleet, LineAnswer

SCHEMA_VERSION = "1.0"


def schema() -> dict[str, Any]:
    text = files("analysis").joinpath("schema/fleet.schema.json").read_text(encoding="utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def fleet_json(fleet: Fleet) -> dict[str, Any]:
    """All lines in their order, and the keys of those that need eyes, the worst first."""
    return {
        "schema_version": SCHEMA_VERSION,
        "engine": fleet.engine,
        "rules": list(fleet.rules),
        "recent": fleet.recent,
        "lines": [_line(line) for line in fleet.lines],
        "needs_eyes": [
            dict(zip(("product", "site", "line", "response"), line.key, strict=True)) for line in fleet.worst_first
        ],
    }


def _line(line: LineAnswer) -> dict[str, Any]:
    return {
        "product": line.product,
        "site": line.site,
        "line": line.line,
        "response": line.response,
        "state": line.state,
        "readings": line.readings,
        "missing": line.missing,
        "batches": line.batches,
        "mean": line.mean,
        "sd": line.sd,
        "limits": None if line.lower is None else {"lower": line.lower, "upper": line.upper},
        "alarms": dict(line.alarms),
        "alarming_batches": line.alarming,
        "alarming_recently": line.recent,
        "batches_since_alarm": line.ago,
        "specification": _specification(line),
    }


def _specification(line: LineAnswer) -> dict[str, Any] | None:
    if line.lower_spec is None and line.upper_spec is None:
        return None
    return {
        "lower": line.lower_spec,
        "upper": line.upper_spec,
        "readings_outside": line.outside,
        "kind": line.kind,
        "index": line.index,
        "index_low": line.index_low,
        "index_high": line.index_high,
        "total_sd": line.total,
        "verdict": line.verdict,
    }
