"""Which treatment meets several goals at once, how surely, and what does each goal cost the others?"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.errors import NotPossible
from analysis.goals.chances import Chances, Chooser, residual_correlation
from analysis.goals.computed import Certain, Computed
from analysis.goals.fronts import contradictions, fronts
from analysis.goals.intervals import intervals
from analysis.goals.ordering import Chosen, simplest
from analysis.goals.regions import region
from analysis.goals.results import Forecast, GoalsPart, Treatment
from analysis.goals.search import Asker, best_of, edges_of
from analysis.goals.space import Space, common_spans
from analysis.goals.wishes import wish_of
from analysis.predicting import Settings
from analysis.questions import ModelName, Question
from analysis.results import FamilyResult, ResponseResult

Floats = NDArray[np.float64]

NO_PREDICTOR = "its model cannot foretell treatments that were not baked"
NOT_ANALYSED = "it could not be analysed"
NO_OVERLAP = "the responses have no treatments in common"
NO_SCATTER = "nothing tells the scatter of the bakes"


@dataclass(frozen=True, kw_only=True)
class Asked:
    """The answer for one response and how to fit it with other terms (None: it cannot be)."""

    result: ResponseResult
    refit: Callable[[ModelName], FamilyResult] | None = None


def goals_part(asked: Sequence[Asked], question: Question, computed: Sequence[Computed] = ()) -> GoalsPart | None:
    """None with fewer than two goals. A response that cannot be foretold is left out, with the reason."""
    wanted = [one for one in asked if one.result.response.goal is not None]
    if len(wanted) + len(computed) < 2:
        return None
    left_out = {one.result.response.name: why for one in wanted if (why := _why_not(one.result)) is not None}
    usable = [one for one in wanted if one.result.response.name not in left_out]
    if not usable or len(usable) + len(computed) < 2:
        return GoalsPart(left_out=left_out, reasons={"best": "fewer than two goals can be foretold"})
    chosen = [_chosen(one) for one in usable]
    space = _space(usable, chosen, question)
    if space is None:
        return GoalsPart(left_out=left_out, reasons={"best": NO_OVERLAP})
    try:
        asker = _asker(usable, chosen, space, computed)
        return _answer(chosen, asker, space, question, left_out)
    except NotPossible as problem:
        return GoalsPart(left_out=left_out, reasons={"best": problem.what})


def _why_not(result: ResponseResult) -> str | None:
    if result.family.model.kind == "none":
        return NOT_ANALYSED
    return None if result.family.predictor is not None else NO_PREDICTOR


def _chosen(one: Asked) -> Chosen:
    family = one.result.family
    if one.refit is None or one.result.response.model is not None:
        return Chosen(family=family)
    return simplest(family, one.refit)


def _space(usable: Sequence[Asked], chosen: Sequence[Chosen], question: Question) -> Space | None:
    """What was baked of every factor for every response; None where the responses share no levels."""
    spans = common_spans([one.family.predictor.spans for one in chosen if one.family.predictor is not None])
    kept = {name: span for name, span in spans.items() if span.levels or span.low is not None}
    if (
        len(kept) < len(spans)
        or not spans
        or any(s.low is not None and s.low > (s.high or s.low) for s in kept.values())
    ):
        return None
    points = {
        p.bake: p.settings for one in usable for p in one.result.family.points if kept.keys() <= p.settings.keys()
    }
    if not points:
        return None
    each = dict.fromkeys(
        tuple(str(settings[name]) if span.levels else float(settings[name]) for name, span in kept.items())
        for settings in points.values()
    )
    known = [row for row in each if all(not s.levels or v in s.levels for v, s in zip(row, kept.values(), strict=True))]
    if not known:
        return None
    baked = Settings(dict(zip(kept, zip(*known, strict=True), strict=True)))
    shares = tuple(f.name for f in question.factors if f.kind == "share" and f.name in kept)
    total = float(np.median(np.sum([baked[name] for name in shares], axis=0))) if shares else 0.0
    return Space(spans=kept, shares=shares, total=total, baked=baked)


def _asker(usable: Sequence[Asked], chosen: Sequence[Chosen], space: Space, computed: Sequence[Computed]) -> Asker:
    predictors = [one.family.predictor for one in chosen if one.family.predictor is not None]
    predictors += [Certain(values=one.values, spans=space.spans) for one in computed]
    responses = [one.result.response for one in usable] + [one.response for one in computed]
    wishes = [
        wish_of(response, predictor.mean(space.baked))
        for response, predictor in zip(responses, predictors, strict=True)
    ]
    return Asker(wishes=tuple(wishes), predictors=tuple(predictors))


def _answer(
    chosen: Sequence[Chosen],
    asker: Asker,
    space: Space,
    question: Question,
    left_out: Mapping[str, str],
) -> GoalsPart:
    wishes, confidence = asker.wishes, question.confidence
    correlation = residual_correlation(
        [one.family.points for one in chosen] + [()] * (len(wishes) - len(chosen)),
        wishes,
        [each.df for each in asker.predictors],
    )
    chooser = Chooser(asker=asker, correlation=correlation, seed=question.seed)
    pool = space.pool(np.random.Generator(np.random.PCG64([question.seed, 3])))
    means = asker.means(pool)
    found = best_of(asker, space, pool, means, seed=question.seed)
    judge = _Judge(asker=asker, chooser=chooser, space=space, confidence=confidence)
    best, baked = judge.treatments([found, _best_baked(asker, space)])
    met = best.desirability > 0
    models = [(one.model, one.p) for one in chosen] + [(None, None)] * (len(wishes) - len(chosen))
    return GoalsPart(
        goals=tuple(
            wish.taken(model=model, dropped_p=p, certain=isinstance(predictor, Certain))
            for wish, (model, p), predictor in zip(wishes, models, asker.predictors, strict=True)
        ),
        best=best if met else None,
        nearest=None if met else best,
        best_baked=baked,
        bottleneck=_bottleneck(best),
        region=region(asker, chooser, space, found),
        fronts=fronts(asker, pool, means, confidence),
        contradictions=() if met else contradictions(wishes, means),
        left_out=dict(left_out),
        reasons={"chance": NO_SCATTER} if best.chance is None else {},
    )


@dataclass(frozen=True, kw_only=True)
class _Judge:
    asker: Asker
    chooser: Chooser
    space: Space
    confidence: float

    def treatments(self, several: Sequence[Mapping[str, float | str]]) -> list[Treatment]:
        """Everything that can be said of each treatment; all are asked about at once."""
        asked = Settings({name: [settings[name] for settings in several] for name in self.space.spans})
        means = self.asker.means(asked)
        each, overall = self.asker.desirabilities(means), self.asker.overall(means)
        chances = self.chooser.chances(asked)
        all_bake = None if chances is None else chances.all_bake
        forecasts = [self._forecasts(at, asked, means[at], each[at], chances) for at in range(len(means))]
        return [
            Treatment(
                settings=dict(settings),
                desirability=float(overall[at]),
                forecasts=tuple(own[at] for own in forecasts),
                chance=None if chances is None else float(chances.all[at]),
                chance_bake=None if all_bake is None else float(all_bake[at]),
                inside=self.space.hull().holds(settings),
                baked=self.space.is_baked(settings),
                edge=edges_of(self.space, settings),
            )
            for at, settings in enumerate(several)
        ]

    def _forecasts(
        self, which: int, asked: Settings, means: Floats, desirability: Floats, chances: Chances | None
    ) -> list[Forecast]:
        """Of one response at each treatment."""
        wish, predictor = self.asker.wishes[which], self.asker.predictors[which]
        ends, bakes = intervals(predictor, asked, means, self.confidence)
        each = None if chances is None else chances.each[which]
        each_bake = None if chances is None or chances.each_bake is None else chances.each_bake[which]
        met = wish.met(means)
        return [
            Forecast(
                response=wish.name,
                mean=float(mean),
                low=ends[at][0],
                high=ends[at][1],
                bake_low=bakes[at][0],
                bake_high=bakes[at][1],
                desirability=float(desirability[at]),
                met=bool(met[at]),
                chance=None if each is None else float(each[at]),
                chance_bake=None if each_bake is None else float(each_bake[at]),
            )
            for at, mean in enumerate(means)
        ]


def _best_baked(asker: Asker, space: Space) -> dict[str, float | str]:
    merit = asker.merit(asker.means(space.baked))
    return space.baked.row(int(np.argmax(merit)))


def _bottleneck(best: Treatment) -> str:
    """The goal that is met least surely at the best compromise; without chances, the least desirable."""

    def key(one: Forecast) -> tuple[float, float]:
        return (one.chance if one.chance is not None else one.desirability, one.desirability)

    return min(best.forecasts, key=key).response
