"""What have the trials of one product taught so far?

Two stages: each trial is analysed by itself as it was planned, then what they say of the same contrast
is put together with the spread between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.errors import NotPossible, TrialDataError
from analysis.findings import judge
from analysis.pooling.comparable import Comparable, Estimate, comparables
from analysis.pooling.random_effects import Shared, shared_effect, shrunken
from analysis.pooling.results import Apart, NotPooled, PooledEffect, Pooling, Step, TrialEffect
from analysis.results import Analysis

LEVEL = 0.05
TWO_TRIALS = "two trials cannot tell what a third would bring"


@dataclass(frozen=True, kw_only=True)
class TrialAnswer:
    """One trial with its analysis; given in order of time."""

    name: str
    analysis: Analysis


def pool_effects(
    trials: Sequence[TrialAnswer],
    *,
    responses: Sequence[str] = (),
    factors: Sequence[str] = (),
    confidence: float = 0.95,
) -> Pooling:
    """Every effect that at least two of the trials tell.

    Raises TrialDataError for units or kinds that differ, and NotPossible when nothing is in common.
    """
    if len(trials) < 2:
        raise NotPossible(
            "One trial alone has nothing to be pooled with.", where="trials", try_this="Name two or more."
        )
    effects: list[PooledEffect] = []
    missing: list[NotPooled] = []
    for response, factor, telling in _pairs(trials, responses, factors):
        found = list(comparables(factor, response, [(one.name, one.analysis) for one in telling]))
        pooled = [_pooled(one, response, telling, confidence) for one in found if len(one.estimates) > 1]
        effects += pooled
        if not pooled:
            missing.append(NotPooled(factor=factor, response=response, why=_why(found)))
    if not effects:
        why = missing[0].why if missing else "the trials have no factor and response in common"
        raise NotPossible(f"Nothing can be pooled: {why}.", where="trials", try_this="Analyse each trial by itself.")
    return Pooling(
        trials=tuple(one.name for one in trials),
        confidence=confidence,
        effects=tuple(effects),
        not_pooled=tuple(missing),
    )


def _why(found: Sequence[Comparable]) -> str:
    told = [one.trial for each in found for one in each.estimates]
    if not told:
        return "no trial tells this effect with its error"
    return f"only {told[0]} tells this effect with its error"


def _pairs(
    trials: Sequence[TrialAnswer], responses: Sequence[str], factors: Sequence[str]
) -> list[tuple[str, str, list[TrialAnswer]]]:
    """(response, factor, the trials that have both), checked for one kind and one unit."""
    all_responses = dict.fromkeys(r.response.name for one in trials for r in one.analysis.responses)
    all_factors = dict.fromkeys(f.name for one in trials for f in one.analysis.question.factors if f.kind != "share")
    for asked, known, what in ((responses, all_responses, "response"), (factors, all_factors, "factor")):
        for name in asked:
            if name not in known:
                raise TrialDataError(
                    f'No trial has a {what} "{name}".',
                    where=f"--{what}",
                    try_this=f'--{what} "{next(iter(known))}"' if known else "leave it out",
                )
    pairs = []
    for response in responses or all_responses:
        for factor in factors or all_factors:
            telling = [one for one in trials if _tells(one.analysis, response, factor)]
            if len(telling) > 1:
                _same(telling, response, factor)
                pairs.append((response, factor, telling))
    return pairs


def _tells(analysis: Analysis, response: str, factor: str) -> bool:
    return any(r.response.name == response for r in analysis.responses) and any(
        f.name == factor for f in analysis.question.factors
    )


def _same(telling: Sequence[TrialAnswer], response: str, factor: str) -> None:
    """Numbers in different units must not be averaged."""
    units = {
        one.name: next(r.response.unit for r in one.analysis.responses if r.response.name == response)
        for one in telling
    }
    kinds = {one.name: next(f for f in one.analysis.question.factors if f.name == factor) for one in telling}
    for what, said in (
        (f"{response} is measured", units),
        (f"{factor} is set", {name: f.unit for name, f in kinds.items()}),
        (f"{factor} is taken", {name: f.kind for name, f in kinds.items()}),
    ):
        if len(set(said.values())) > 1:
            (first, one), (second, other) = next(
                ((a, said[a]), (b, said[b])) for a in said for b in said if said[a] != said[b]
            )
            how = "as" if what.endswith("taken") else "in"
            raise TrialDataError(
                f'{what} {how} {one or "no unit"} in "{first}" but {how} {other or "no unit"} in "{second}".',
                where="trials",
                try_this="Pool trials that used one unit, or name another --factor or --response.",
            )


def _pooled(one: Comparable, response: str, telling: Sequence[TrialAnswer], confidence: float) -> PooledEffect:
    values = [each.value for each in one.estimates]
    variances = [each.se**2 for each in one.estimates]
    shared = shared_effect(values, variances, confidence=confidence)
    matters = _matters(telling, response) if one.per_response else None
    drawn = shrunken(values, variances, shared, confidence)
    common, common_low, common_high = _as_one(one.estimates, confidence)
    trials = tuple(
        _trial(each, float(weight), where, confidence)
        for each, weight, where in zip(one.estimates, shared.weights, drawn, strict=True)
    )
    return PooledEffect(
        factor=one.factor,
        response=response,
        kind=one.kind,
        first=one.first,
        second=one.second,
        unit=one.unit,
        matters_size=matters,
        trials=trials,
        estimate=shared.estimate,
        se=shared.se,
        df=shared.df,
        low=shared.low,
        high=shared.high,
        p=None if one.kind == "best dose" else shared.p,
        matters=judge(shared.low, shared.high, matters),
        spread=float(np.sqrt(shared.tau2)),
        spread_low=_root(shared.tau2_low),
        spread_high=_root(shared.tau2_high),
        common=common,
        common_low=common_low,
        common_high=common_high,
        next_low=shared.next_low,
        next_high=shared.next_high,
        q=shared.q,
        q_p=shared.q_p,
        steps=_steps(one.estimates, trials, matters, confidence),
        apart=_apart(one.estimates),
        opposed=() if one.kind == "best dose" else _opposed(trials),
        level=one.level,
        factor_unit=one.factor_unit,
        reasons={"next": TWO_TRIALS} if len(trials) < 3 else {},
    )


def _as_one(estimates: Sequence[Estimate], confidence: float) -> tuple[float, float, float]:
    """The effect with its interval if trials did not differ at all; their error df add up."""
    from scipy.stats import norm, t

    weights = np.array([one.se**-2 for one in estimates])
    mean = float(weights @ np.array([one.value for one in estimates]) / weights.sum())
    upper = (1 + confidence) / 2
    dfs = [one.df for one in estimates if one.df is not None]
    times = float(t.ppf(upper, sum(dfs))) if len(dfs) == len(estimates) else float(norm.ppf(upper))
    half = times * float(weights.sum() ** -0.5)
    return mean, mean - half, mean + half


def _root(value: float | None) -> float | None:
    return None if value is None else float(np.sqrt(value))


def _matters(telling: Sequence[TrialAnswer], response: str) -> float | None:
    """The difference that matters: the smallest that was said, so that the strictest trial decides."""
    said = [r.response.matters for one in telling for r in one.analysis.responses if r.response.name == response]
    return min((each for each in said if each is not None), default=None)


def _trial(one: Estimate, weight: float, drawn: tuple[float, float, float], confidence: float) -> TrialEffect:
    half = _times(one, confidence) * one.se
    return TrialEffect(
        trial=one.trial,
        estimate=one.value,
        se=one.se,
        df=one.df,
        low=one.value - half,
        high=one.value + half,
        weight=weight,
        shrunken=drawn[0],
        shrunken_low=drawn[1],
        shrunken_high=drawn[2],
    )


def _times(one: Estimate, confidence: float) -> float:
    from scipy.stats import norm, t

    upper = (1 + confidence) / 2
    return float(norm.ppf(upper) if one.df is None else t.ppf(upper, one.df))


def _steps(
    estimates: Sequence[Estimate], trials: Sequence[TrialEffect], matters: float | None, confidence: float
) -> tuple[Step, ...]:
    """The first trial by itself, then each further one with those before it."""
    first = trials[0]
    steps = [
        Step(
            trial=first.trial,
            trials=1,
            estimate=first.estimate,
            low=first.low,
            high=first.high,
            matters=judge(first.low, first.high, matters),
        )
    ]
    for count in range(2, len(estimates) + 1):
        known = estimates[:count]
        shared = shared_effect([e.value for e in known], [e.se**2 for e in known], confidence=confidence)
        steps.append(
            Step(
                trial=known[-1].trial,
                trials=count,
                estimate=shared.estimate,
                low=shared.low,
                high=shared.high,
                matters=judge(shared.low, shared.high, matters),
            )
        )
    return tuple(steps)


def _apart(estimates: Sequence[Estimate]) -> tuple[Apart, ...]:
    """Trials that the others do not foretell, each left out once; with three trials or more, Holm's allowance."""
    from scipy.stats import t

    if len(estimates) < 4:  # two others cannot tell their own spread
        return ()
    found = []
    for at, one in enumerate(estimates):
        others = [other for place, other in enumerate(estimates) if place != at]
        rest: Shared = shared_effect([o.value for o in others], [o.se**2 for o in others])
        error = float(np.sqrt(one.se**2 + rest.tau2 + rest.se**2))
        p = float(2 * t.sf(abs(one.value - rest.estimate) / error, len(others) - 1))
        found.append(Apart(trial=one.trial, estimate=one.value, expected=rest.estimate, p=p))
    found.sort(key=lambda each: each.p)
    kept: list[Apart] = []
    for place, each in enumerate(found):
        adjusted = min(each.p * (len(found) - place), 1.0)
        if adjusted >= LEVEL:
            break
        kept.append(Apart(trial=each.trial, estimate=each.estimate, expected=each.expected, p=adjusted))
    return tuple(kept)


def _opposed(trials: Sequence[TrialEffect]) -> tuple[tuple[str, str], ...]:
    """Pairs whose intervals lie wholly on opposite sides of 0."""
    up = [one.trial for one in trials if one.low > 0]
    down = [one.trial for one in trials if one.high < 0]
    return tuple((a, b) for a in up for b in down)
