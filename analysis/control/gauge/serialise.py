"""How does a machine read a gauge study?

Described by ``analysis/schema/gauge.schema.json``. Keys are only added within a major version.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from importlib.resources import files
from typing import Any

from analysis.control.gauge.fits import tolerance_of
from analysis.control.gauge.results import Component, Fit, GaugeAnswer, Share, Shares
from analysis.serialise import plain_values
from analysis.words.checks import say_check
from analysis.words.gauge import LABELS, say_gauge_answer, say_gauge_finding
from analysis.words.gauge_pages import say_layout, say_methods

SCHEMA_VERSION = "1.0"

Json = dict[str, Any]


def gauge_json(answer: GaugeAnswer) -> Json:
    """Plain dicts, lists, strings, finite numbers, booleans and None; what cannot be told is None with a reason."""
    low, high = answer.repeats
    document = {
        "schema_version": SCHEMA_VERSION,
        "question": _question(answer),
        "layout": {
            "people": list(answer.people),
            "pieces": answer.pieces,
            "readings": answer.readings,
            "repeats": {"least": low, "most": high},
            "nested": answer.nested,
            "even": answer.even,
            "words": say_layout(answer),
        },
        "verdict": answer.verdict,
        "judged": {"by": answer.judged_by, **_share(answer.judged)},
        "words": list(say_gauge_answer(answer)),
        **_fit(answer.used),
        "interaction": None if answer.interaction is None else asdict(answer.interaction),
        "fits": [{"used": fit is answer.used, **_fit(fit)} for fit in answer.fits],
        "people": [asdict(line) for line in answer.persons],
        "farthest_apart": None if answer.pair is None else asdict(answer.pair),
        "odd_readings": [asdict(odd) for odd in answer.odd],
        "readings_worth": asdict(answer.worth),
        "average_and_range": None if answer.ranges is None else asdict(answer.ranges),
        "checks": [
            {"check": check.check, "verdict": check.verdict, "facts": dict(check.facts), "words": say_check(check)}
            for check in answer.checks
        ],
        "findings": [asdict(finding) | {"words": say_gauge_finding(finding, answer)} for finding in answer.findings],
        "methods": list(say_methods(answer)),
        "left_out": [{"row": out.row, "why": out.why} for out in answer.left_out],
    }
    plain: Json = plain_values(document, "gauge")
    return plain


def schema() -> Json:
    """The JSON Schema (2020-12) of ``gauge_json``."""
    text = files("analysis").joinpath("schema/gauge.schema.json").read_text(encoding="utf-8")
    loaded: Json = json.loads(text)
    return loaded


def _question(answer: GaugeAnswer) -> Json:
    asked = answer.question
    limits = asked.specification
    return {
        "response": asked.response,
        "unit": asked.unit,
        "person": asked.person,
        "piece": asked.piece,
        "lower": limits.lower if limits else None,
        "upper": limits.upper if limits else None,
        "tolerance": tolerance_of(asked),
        "confidence": asked.confidence,
    }


def _fit(fit: Fit) -> Json:
    return {
        "model": fit.model,
        "method": fit.method,
        "table": [asdict(line) for line in fit.table],
        "components": [_component(one, fit.shares[key]) for key, one in fit.components.items()],
        "classes": fit.classes,
        "missing": dict(fit.missing),
    }


def _component(one: Component, shares: Shares) -> Json:
    return {
        "component": one.key,
        "name": LABELS[one.key],
        "variance": one.variance,
        "variance_low": one.low,
        "variance_high": one.high,
        "sd": one.sd,
        "sd_low": one.sd_low,
        "sd_high": one.sd_high,
        "boundary": one.boundary,
        "interval": one.method,
        "share_of_variance": _share(shares.of_variance),
        "share_of_spread": _share(shares.of_spread),
        "share_of_tolerance": None if shares.of_tolerance is None else _share(shares.of_tolerance),
    }


def _share(share: Share) -> Mapping[str, float | None]:
    return {"fraction": share.value, "low": share.low, "high": share.high}
