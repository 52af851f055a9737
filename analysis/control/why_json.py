"""How does a machine read what a log's level changed with?

Described by ``analysis/schema/why.schema.json``. Keys are only added within a major version; what was not
found or cannot be told is null, never NaN.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from importlib.resources import files
from typing import Any

from analysis.control.why_results import BesideMoved, Change, Chemistry, Suspect, Why
from analysis.serialise import plain_values
from analysis.words.cause_chemistry import say_causes_chemistry, say_too_few
from analysis.words.causes import (
    say_change,
    say_headline,
    say_limits_of_it,
    say_next,
    say_sureness,
    say_suspect,
    say_unasked,
)

SCHEMA_VERSION = "1.0"

Json = dict[str, Any]


def why_json(why: Why, *, source: str, remarks: Sequence[str] = (), confidence: float = 0.95) -> Json:
    """Plain dicts, lists, strings, finite numbers, booleans and None."""
    document = {
        "schema_version": SCHEMA_VERSION,
        "source": source,
        "response": why.response,
        "unit": why.unit,
        "batches": {"count": len(why.batches), "first": why.batches[0], "last": why.batches[-1], "left_out": why.gaps},
        "confidence": confidence,
        "mean": why.mean,
        "sd": why.sd,
        "correlation": why.correlation,
        "p_value": why.p_value,
        "headline": say_headline(why),
        "changes": [
            _change(change, chemistry, why, confidence)
            for change, chemistry in zip(why.changes, why.chemistry, strict=True)
        ],
        "asked": list(why.asked),
        "left_out": [
            {"what": what, "reason": reason, "words": say_unasked(what, reason)} for what, reason in why.left_out
        ],
        "words": list(say_limits_of_it(why)),
        "remarks": list(remarks),
    }
    plain: Json = plain_values(document, "why")
    return plain


def _change(change: Change, chemistry: Chemistry, why: Why, confidence: float) -> Json:
    onset = {"batch": change.onset, "low": change.onset_low, "high": change.onset_high}
    return {
        "cause": _suspect(change.cause) if change.cause.logged else None,
        "behaviour": change.cause.behaviour,
        "weight": change.weight,
        "rivals": [_suspect(rival.suspect) | {"weight": rival.weight, "alike": rival.alike} for rival in change.rivals],
        "from_batch": change.from_batch,
        "to_batch": change.to_batch,
        "batches": change.batches,
        "size": change.size,
        "low": change.low,
        "high": change.high,
        "per_batch": change.per_batch,
        "per_day": change.per_day,
        "against": change.against or None,
        "onset": onset if change.onset else None,
        "p_value": change.p_value,
        "words": say_change(change, why, confidence),
        "sureness": say_sureness(change),
        "next_step": say_next(change, chemistry),
        "chemistry": _chemistry(chemistry, change, why),
    }


def _suspect(suspect: Suspect) -> Json:
    return {
        "column": suspect.column or None,
        "lot" if suspect.of_lot else "level": suspect.level or None,
        "behaviour": suspect.behaviour,
        "words": say_suspect(suspect),
    }


def _chemistry(chemistry: Chemistry, change: Change, why: Why) -> Json:
    return {
        "verdict": chemistry.verdict,
        "measured": [_moved(each) for each in chemistry.moved],
        "missing": list(chemistry.missing),
        "too_few": list(chemistry.too_few),
        "gas_wanted": list(chemistry.gas_wanted) if chemistry.gas_wanted else None,
        "agrees": chemistry.agrees,
        "words": " ".join(filter(None, (say_causes_chemistry(chemistry, change, why), say_too_few(chemistry)))),
    }


def _moved(moved: BesideMoved) -> Json:
    return asdict(moved)


def why_schema() -> Json:
    """The JSON Schema (2020-12) of ``why_json``."""
    text = files("analysis").joinpath("schema/why.schema.json").read_text(encoding="utf-8")
    loaded: Json = json.loads(text)
    return loaded
