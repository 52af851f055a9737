"""How does a machine read what several trials say together?

Described by ``analysis/schema/pooling.schema.json``. Keys are only added within a major version.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from importlib.resources import files
from typing import Any

from analysis.pooling.results import Pooling
from analysis.serialise import plain_values
from analysis.words.pooling import say_pooled, title_of

SCHEMA_VERSION = "1.0"

Json = dict[str, Any]


def pooling_json(pooling: Pooling) -> Json:
    """Plain dicts, lists, strings, finite numbers, booleans and None."""
    document = {
        "schema_version": SCHEMA_VERSION,
        "trials": list(pooling.trials),
        "confidence": pooling.confidence,
        "effects": [
            asdict(effect) | {"title": title_of(effect), "words": list(say_pooled(effect, pooling.confidence))}
            for effect in pooling.effects
        ],
        "not_pooled": [asdict(one) for one in pooling.not_pooled],
        "remarks": list(pooling.remarks),
    }
    plain: Json = plain_values(document, "pooling")
    return plain


def schema() -> Json:
    """The JSON Schema (2020-12) of ``pooling_json``."""
    text = files("analysis").joinpath("schema/pooling.schema.json").read_text(encoding="utf-8")
    loaded: Json = json.loads(text)
    return loaded
