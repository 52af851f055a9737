"""Can a model of scores be trusted here?"""

from __future__ import annotations

from analysis.results import Check
from analysis.scores.model import Model
from analysis.scores.results import LikelihoodRatio

DOUBT = 0.05
FEW = 3  # readings of a score below which its edges hang on single readings
FEW_GROUPS = 5


def checks(
    model: Model,
    nominal: tuple[LikelihoodRatio, ...],
    spread: tuple[LikelihoodRatio, ...],
    interactions: tuple[LikelihoodRatio, ...],
) -> tuple[Check, ...]:
    """Separation first, then what the model takes for granted, then what the groups are worth."""
    found = [*_separation(model), *_assumed(nominal, spread), *_interactions(interactions)]
    found += [*_scores(model), *_scatter(model), *_groups(model)]
    return tuple(found)


def _separation(model: Model) -> list[Check]:
    if not model.separated:
        return []
    facts = {"terms": model.separated, "groups": tuple(kin.name for kin in model.readings.kin)}
    return [Check(check="separation", verdict="look here", facts=facts)]


def _assumed(nominal: tuple[LikelihoodRatio, ...], spread: tuple[LikelihoodRatio, ...]) -> list[Check]:
    found = []
    for name, tests in (("proportional odds", nominal), ("equal spread of scores", spread)):
        if not tests:
            continue
        # Holm's first step: one of several tests looks bad by chance.
        broken = [one for one in tests if one.p * len(tests) < DOUBT]
        facts = {"terms": tuple(one.term for one in broken), "p": min(one.p for one in tests), "tests": len(tests)}
        found.append(Check(check=name, verdict="look here" if broken else "fine", facts=facts))
    return found


def _interactions(tests: tuple[LikelihoodRatio, ...]) -> list[Check]:
    broken = [one for one in tests if one.p * len(tests) < DOUBT]
    found = []
    for check, bends in (("interaction of scores", False), ("bend of scores", True)):
        own = [one for one in broken if one.term.endswith("^2") == bends]
        if own:
            facts = {"terms": tuple(one.term for one in own), "p": min(one.p for one in own)}
            found.append(Check(check=check, verdict="look here", facts=facts))
    return found


def _scores(model: Model) -> list[Check]:
    if model.response.scale in ("count", "yes-no"):
        return []
    seen = {label: 0.0 for label in model.labels}
    for label, value in zip(model.labels, model.data.values, strict=True):
        seen[label] = float(model.readings.weights[model.readings.response == value].sum())
    found = []
    never = tuple(anchor for anchor in model.response.anchors if anchor not in model.labels)
    if never:
        found.append(Check(check="scores never given", verdict="fine", facts={"scores": never}))
    rare = tuple(label for label, count in seen.items() if count < FEW)
    if rare:
        found.append(Check(check="scores seldom given", verdict="look here", facts={"scores": rare, "few": FEW}))
    return found


def _scatter(model: Model) -> list[Check]:
    if model.dispersion is None:
        return []
    facts = {
        "dispersion": model.dispersion, "df": model.df, "scale": model.response.scale, "widened": model.widened,
    }  # fmt: skip
    big = model.dispersion > 3
    return [Check(check="scatter of counts", verdict="look here" if big else "fine", facts=facts)]


def _groups(model: Model) -> list[Check]:
    found = []
    if model.free.boundary:
        found.append(Check(check="no spread between groups", verdict="fine", facts={"groups": model.free.boundary}))
    few = tuple(kin.name for kin in model.free.data.kin if kin.count < FEW_GROUPS)
    if few:
        found.append(Check(check="few groups of scores", verdict="look here", facts={"groups": few}))
    if model.readings.left:
        found.append(Check(check="groups left out", verdict="look here", facts={"why": dict(model.readings.left)}))
    if not model.free.starts_agree:
        found.append(Check(check="two tops", verdict="do not rely", facts={}))
    other = model.free.other
    if other is not None:
        facts = {"method": model.free.method, "loglik": model.free.loglik, "other": other.loglik}
        found.append(Check(check="integral of groups", verdict="fine", facts=facts))
    found += _baked_once(model)
    return found


def _baked_once(model: Model) -> list[Check]:
    """Several readings of one bake each: tasters agree about the bakes, which may differ for other reasons."""
    readings, question = model.readings, model.question
    names = [factor.name for factor in question.factors]
    if question.bake is None or len(set(readings.bake)) == len(readings.bake):
        return []
    treatments = len(readings.frame[names].drop_duplicates())
    bakes = len(set(readings.bake))
    if bakes > treatments:
        return []
    return [
        Check(check="bakes of scores", verdict="do not rely", facts={"bakes": bakes, "readings": len(readings.bake)})
    ]
