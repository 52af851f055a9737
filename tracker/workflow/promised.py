"""What did a trial promise of the product that came out of it?

Its predicted mean at the treatment it recommends (or at settings that are named), and the
spread of one new bake there: what batches scatter by, and what is not known of the mean.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analysis.errors import AnalysisError
from analysis.words.numbers import join_words, say_setting
from tracker.current import find_trial
from tracker.deeds import Deed
from tracker.errors import InputError, NotFound
from tracker.intake.mapping import same_name
from tracker.intake.numbers import read_number
from tracker.intake.spreadsheet import nearest
from tracker.models import Expectation, Product
from tracker.store import Store
from tracker.workflow.logged_responses import ResponseAsked, settle_response
from tracker.workflow.lookup import key, responses_of

if TYPE_CHECKING:
    from analysis.results import Analysis, ResponseResult

Settings = Mapping[str, float | str]


@dataclass(frozen=True, kw_only=True)
class Foretold:
    """Mean and standard deviation of one new bake of the treatment."""

    response: str
    mean: float
    sd: float


@dataclass(frozen=True, kw_only=True)
class Promise:
    """``responses`` are those of the trial with their units; ``foretold`` those that have a prediction."""

    trial: str
    settings: Settings
    content_hash: str
    responses: tuple[tuple[str, str], ...]
    foretold: tuple[Foretold, ...]
    notices: tuple[str, ...]

    def write(self, deed: Deed, product: Product, *, person: int) -> None:
        """The product's responses and first expectations, as entries."""
        for name, unit in self.responses:
            settle_response(deed, product, ResponseAsked(name=name, unit=unit), person=person)
        trial = find_trial(deed.session, self.trial)
        deed.add_many(
            Expectation(
                product_id=key(product),
                response=each.response,
                mean=each.mean,
                sd=each.sd,
                trial_id=key(trial),
                settings=json.dumps(dict(self.settings), ensure_ascii=False, sort_keys=True),
                content_hash=self.content_hash,
                person_id=person,
                at=deed.at,
            )
            for each in self.foretold
        )


def promise_of(store: Store, trial: str, settings: Sequence[str] = ()) -> Promise:
    """Analyse the trial and read off what it foretells. Raises NotFound; a trial without an answer promises nothing."""
    from tracker.frames import content_hash
    from tracker.workflow.analysing import analyse_trial

    with store.read() as session:
        found = find_trial(session, trial)
        responses = tuple((row.name, row.unit) for row in responses_of(session, found))
    digest = content_hash(store, trial)
    try:
        analysis = analyse_trial(store, trial).analysis
    except AnalysisError as wrong:
        if settings:
            raise
        said = f'The trial "{trial}" promises nothing yet: {wrong.what}'
        return Promise(trial=trial, settings={}, content_hash=digest, responses=responses, foretold=(), notices=(said,))
    chosen = _typed(settings, analysis) if settings else recommended(analysis)
    foretold = tuple(each for each in (_foretell(result, chosen) for result in analysis.responses) if each)
    return Promise(
        trial=trial,
        settings=chosen,
        content_hash=digest,
        responses=responses,
        foretold=foretold,
        notices=_notices(trial, analysis, chosen, responses, foretold),
    )


def recommended(analysis: Analysis) -> Settings:
    """The treatment the answer speaks for: best for all goals, else the recommended dose, else the best baked one."""
    from analysis.goals.results import GoalsPart

    goals = next((part for part in analysis.parts if isinstance(part, GoalsPart)), None)
    if goals is not None and goals.best is not None:
        return dict(goals.best.settings)
    wished = [result for result in analysis.responses if result.response.goal is not None]
    for result in wished:
        dose = _best_dose(result)
        if dose:
            return dose
    for result in wished or analysis.responses:
        baked = _best_baked(result)
        if baked:
            return baked
    return {}


def _best_dose(result: ResponseResult) -> Settings:
    dose = result.family.dose
    curves = [curve for curve in dose.curves if curve.recommended is not None] if dose else []
    if dose is None or not curves:
        return {}
    best = min(curves, key=lambda curve: _miss(result, curve.recommended.response if curve.recommended else 0.0))
    assert best.recommended is not None
    found: dict[str, float | str] = {dose.dose: float(f"{best.recommended.dose:.6g}")}
    if dose.by and best.level is not None:
        found[dose.by] = best.level
    return found


def _best_baked(result: ResponseResult) -> Settings:
    points = [point for point in result.family.points if point.fitted is not None]
    if not points:
        return {}
    return dict(min(points, key=lambda point: _miss(result, point.fitted or 0.0)).settings)


def _miss(result: ResponseResult, value: float) -> float:
    """How far from its goal: the smaller, the better."""
    goal, target = result.response.goal, result.response.target
    if goal == "target" and target is not None:
        return abs(value - target)
    return value if goal == "minimise" else -value


def _foretell(result: ResponseResult, settings: Settings) -> Foretold | None:
    import pandas as pd

    predictor = result.family.predictor
    if predictor is None or not settings or not set(predictor.spans) <= set(settings) or not predictor.sd:
        return None
    frame = pd.DataFrame([{name: settings[name] for name in predictor.spans}])
    mean, se = float(predictor.mean(frame)[0]), predictor.se(frame)
    sd = math.hypot(predictor.sd, 0.0 if se is None else float(se[0]))
    if not (math.isfinite(mean) and math.isfinite(sd) and sd > 0):
        return None
    return Foretold(response=result.response.name, mean=mean, sd=sd)


def _typed(settings: Sequence[str], analysis: Analysis) -> Settings:
    """ "soda=1.5" as settings of the trial's factors, all of them."""
    factors = analysis.question.factors
    chosen: dict[str, float | str] = {}
    for text in settings:
        name, equals, value = (part.strip() for part in text.partition("="))
        factor = next((each for each in factors if same_name(name, each.name, each.unit)), None)
        if not equals or not value or factor is None:
            names = [each.name for each in factors]
            raise NotFound(
                f'"{text}" sets no factor of the trial.',
                where="--setting",
                try_this=f'--setting "{nearest(name, names) or names[0]}=…"',
            )
        if factor.kind == "category":
            if value not in factor.levels:
                raise NotFound(
                    f'{factor.name} was never "{value}"; its levels are {join_words(factor.levels)}.',
                    where="--setting",
                    try_this=f'--setting "{factor.name}={nearest(value, factor.levels) or factor.levels[0]}"',
                )
            chosen[factor.name] = value
        else:
            chosen[factor.name] = read_number(value, what=factor.name, where="--setting")
    open_ones = [each.name for each in factors if each.name not in chosen]
    if open_ones:
        raise InputError(
            f"The settings leave {join_words(open_ones)} open.",
            where="--setting",
            try_this=" ".join(f'--setting "{name}=…"' for name in open_ones),
        )
    return chosen


def _notices(
    trial: str,
    analysis: Analysis,
    chosen: Settings,
    responses: Sequence[tuple[str, str]],
    foretold: Sequence[Foretold],
) -> tuple[str, ...]:
    if not chosen:
        return (f'The trial "{trial}" recommends no treatment; name one: --setting "FACTOR=VALUE".',)
    units = {each.name: each.unit for each in analysis.question.factors}
    at: list[Any] = [f"{name} {say_setting(value, units.get(name, ''))}" for name, value in chosen.items()]
    said = [f'The first expectations are those of the trial "{trial}" at {join_words(at)}.']
    without = [name for name, _ in responses if name not in {each.response for each in foretold}]
    if without:
        said.append(f"It foretells no mean and spread of {join_words(without)}.")
    return tuple(said)
