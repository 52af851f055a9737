"""How does a machine read the answer?

One JSON document per analysis, described by ``schema/analysis.schema.json``. Keys
are only added within a major version. What cannot be computed is null and its
reason stands in ``reasons``; NaN and infinity never appear.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, is_dataclass
from importlib.resources import files
from typing import Any

from analysis.dose_results import Curve, DosePart, Optimum
from analysis.parts import Part
from analysis.results import Analysis, Check, Finding, NextBakes, ResponseResult
from analysis.words import headline, response_headline, say_check, say_finding, say_model, say_next
from analysis.words.chemistry import say_chemistry
from analysis.words.contrasts import asked_for
from analysis.words.limits import say_limits
from analysis.words.parts import say_part

SCHEMA_VERSION = "1.0"
PER_CURVE = "one for each curve; see curves"
# Keys of the parts of one response, and of those that concern several together; null where there is none.
OF_ONE: tuple[str, ...] = (
    "surface",
    "climb",
    "blend",
    "scores",
    "scatter",
    "covariates",
    "what_changes",
    "dose_spread",
    "relative_potency",
    "averaged_dose",
    "effective_doses",
)
TOGETHER: tuple[str, ...] = ("goals", "tags")

Json = dict[str, Any]


def analysis_json(analysis: Analysis) -> Json:
    """The whole answer as plain dicts, lists, strings, finite numbers, booleans and None."""
    document = {
        "schema_version": SCHEMA_VERSION,
        "source": analysis.source,
        "headline": headline(analysis),
        "confidence": analysis.question.confidence,
        "rows": {
            "read": analysis.rows_read,
            "used": analysis.rows_used,
            "left_out": [_fields(out) for out in analysis.left_out],
        },
        "responses": [_response(result, analysis) for result in analysis.responses],
        "findings": [_finding(finding, analysis) for finding in analysis.findings],
        **_parts(analysis.parts, TOGETHER, analysis, analysis),
    }
    plain = plain_values(document, "analysis")
    assert isinstance(plain, dict)
    return plain


def schema() -> Json:
    """The JSON Schema (2020-12) of ``analysis_json``."""
    text = files("analysis").joinpath("schema/analysis.schema.json").read_text(encoding="utf-8")
    loaded: Json = json.loads(text)
    return loaded


def _response(result: ResponseResult, analysis: Analysis) -> Json:
    family = result.family
    return {
        "response": result.response.name,
        "unit": result.response.unit,
        "headline": response_headline(result, analysis.question.confidence),
        "goal": result.response.goal,
        "matters": result.response.matters,
        "n_bakes": result.n_bakes,
        "n_readings": result.n_readings,
        "model": _fields(family.model) | {"words": say_model(result, analysis.question)},
        "tests": _records(family.tests),
        "residual": None if family.residual is None else _fields(family.residual),
        "coefficients": _records(family.coefficients),
        "variances": _records(family.variances),
        "thresholds": _records(family.thresholds),
        "means": _records(family.means),
        "comparisons": _records(family.comparisons),
        "contrasts": _records(family.contrasts),
        "equivalence": _records(family.equivalence),
        "effects": _records(family.effects),
        "aliases": [list(chain) for chain in family.aliases],
        "dose": None if family.dose is None else _dose(family.dose),
        "checks": [_check(check) for check in result.checks],
        "findings": [_finding(finding, analysis) for finding in result.findings],
        "next_bakes": [_next(bakes, analysis) for bakes in result.next_bakes],
        "asked_for": list(asked_for(result, analysis.question)),
        "chemistry": [
            _fields(part) | {"words": say_chemistry(part, result.response, analysis.question.confidence)}
            for part in result.chemistry
        ],
        "reasons": dict(family.reasons),
        **_parts(family.parts, OF_ONE, result, analysis),
    }


def _parts(
    parts: Sequence[Part], known: Sequence[str], about: ResponseResult | Analysis, analysis: Analysis
) -> dict[str, Json | None]:
    found = {part.key: _fields(part) | {"words": list(say_part(part, about, analysis.question))} for part in parts}
    return {**dict.fromkeys(known), **found}


def _dose(dose: DosePart) -> Json:
    """With one curve its parts stand at the top; with several they are null there and in ``curves``."""
    single = dose.curves[0] if len(dose.curves) == 1 else None
    parts = _curve_parts(single) if single else dict.fromkeys(("parameters", "optimum", "recommended", "effective"))
    return {
        "dose": dose.dose,
        "by": dose.by,
        "shape": dose.shape,
        **parts,
        "edge": dose.edge,
        "candidates": [_fields(candidate) for candidate in dose.candidates],
        "lack_of_fit": None if dose.lack_of_fit is None else _fields(dose.lack_of_fit),
        "pure_error": None if dose.pure_error is None else _fields(dose.pure_error),
        "potency": _records(dose.potency),
        "averaged": _records(dose.averaged),
        "curves": [] if single else [{"level": curve.level, **_curve_parts(curve)} for curve in dose.curves],
        "reasons": {} if single else dict.fromkeys(parts, PER_CURVE),
    }


def _curve_parts(curve: Curve) -> Json:
    return {
        "parameters": {name: _fields(interval) for name, interval in curve.parameters.items()},
        "optimum": None if curve.optimum is None else _optimum(curve.optimum),
        "recommended": None if curve.recommended is None else _fields(curve.recommended),
        "effective": _records(curve.effective),
    }


def _optimum(optimum: Optimum) -> Json:
    return _fields(optimum)


def _check(check: Check) -> Json:
    return {"check": check.check, "verdict": check.verdict, "words": say_check(check)}


def _finding(finding: Finding, analysis: Analysis) -> Json:
    result = next(one for one in analysis.responses if one.response.name == finding.response)
    return {
        "rank": finding.rank,
        "response": finding.response,
        "kind": finding.kind,
        "variables": list(finding.variables),
        "sentence": say_finding(finding, result.response, analysis.question.confidence),
        "does_not_show": list(say_limits(finding, result, analysis.question)),
        "direction": finding.direction,
        "size": finding.size,
        "low": finding.low,
        "high": finding.high,
        "unit": finding.unit,
        "matters": finding.matters,
        "p": finding.p,
    }


def _next(bakes: NextBakes, analysis: Analysis) -> Json:
    return {
        "rule": bakes.why,
        "why": say_next(bakes, analysis.question),
        "treatments": [dict(treatment) for treatment in bakes.treatments],
    }


def _records(records: Sequence[Any]) -> list[Json]:
    return [_fields(record) for record in records]


def _fields(record: Any) -> Json:
    assert is_dataclass(record)
    assert not isinstance(record, type)
    return asdict(record)


def plain_values(value: Any, where: str) -> Any:
    """Numpy scalars become Python's own; a number that is not finite is our own mistake."""
    if isinstance(value, Mapping):
        return {str(key): plain_values(item, f"{where}.{key}") for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain_values(item, f"{where}[{at}]") for at, item in enumerate(value)]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        assert math.isfinite(value), f"{where} is {value}"
    assert value is None or isinstance(value, str | int | float | bool), f"{where} is a {type(value).__name__}"
    return value
