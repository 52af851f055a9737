"""Would the answer be another if the scores were not taken as numbers?

A quick second opinion beside an analysis of scores as numbers: the same factors in a model of the
response as what it is, without random groups, on the means of the bakes (only their order counts).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from analysis.errors import AnalysisError
from analysis.questions import Question, Response
from analysis.results import FamilyResult, Finding
from analysis.scores.asking import fitted
from analysis.scores.evidence import evidence
from analysis.scores.model import Model
from analysis.scores.readings import Readings
from analysis.scores.testing import term_tests

MOST_STEPS, MOST_BAKES = 40, 600


def second_opinion(bakes: pd.DataFrame, response: Response, question: Question, family: FamilyResult) -> dict[str, Any]:
    """Facts of the check: ``agrees`` (None where it cannot be said), ``differ`` names with their p."""
    effects = [f for f in family.evidence if f.kind == "effect" and len(f.variables) == 1 and f.p is not None]
    grouped = question.group or question.crossed or question.strips  # a second fit with groups takes too long
    model = _model(bakes, response, question) if effects and not grouped else None
    if model is None:
        return {"agrees": None}
    tests = {test.term: test for test in term_tests(model)}
    own = {f.variables[0]: f for f in evidence(model, tests, ()) if f.kind == "effect"} if _plain(model) else {}
    told = [f for f in effects if f.variables[0] in tests]
    if not told:
        return {"agrees": None}
    alpha = 1 - question.confidence
    differ = []
    for finding in told:
        p = tests[finding.variables[0]].p
        if p is None or finding.p is None:
            continue
        same = (p < alpha) == (finding.p < alpha) and not _turned(finding, own.get(finding.variables[0]), alpha)
        if not same:
            differ.append((finding.variables[0], p, finding.p))
    return {"agrees": not differ, "differ": tuple(differ), "terms": tuple(f.variables[0] for f in told)}


def _turned(finding: Finding, own: Finding | None, alpha: float) -> bool:
    """Clear both ways, but in opposite directions?"""
    if own is None or own.size is None or finding.size is None or own.p is None or finding.p is None:
        return False
    if finding.facts.get("from") != own.facts.get("from") or finding.facts.get("bends"):
        return False
    return own.p < alpha and finding.p < alpha and own.size * finding.size < 0


def _plain(model: Model) -> bool:
    """Effects of categories with more levels need all pairs; their direction is left alone."""
    return all(v.amount or len(v.levels) == 2 for v in model.layout.variables if v.asked)


def _model(bakes: pd.DataFrame, response: Response, question: Question) -> Model | None:
    values = bakes[response.name].to_numpy(np.float64)
    if len(bakes) > MOST_BAKES or len(np.unique(values)) > MOST_STEPS:
        return None
    scale = response.scale
    if scale == "yes-no" and not set(np.unique(values)) <= {0.0, 1.0}:
        scale = "score"  # shares of yes among the readings of a bake: their order
    if scale == "count" and (values != np.round(values)).any():
        scale = "score"
    readings = Readings(frame=bakes, response=values, weights=np.ones(len(bakes)), kin=(), left={}, bake=np.array([]))
    plain = replace(question, model="main effects", weights=None)
    try:
        return fitted(readings, replace(response, scale=scale), plain)
    except AnalysisError:
        return None
