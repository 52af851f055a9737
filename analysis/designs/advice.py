"""Which design answers this question with the fewest bakes, and what would the next best cost?

Every design that could answer is really laid out, larger and larger, until it has repeats and
an error to judge by, and sees the difference that matters in four trials of five. The smallest
of the kinds that answer the question best is advised; the best of the others is the runner-up.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from analysis.designs.candidates import MANY, candidates
from analysis.designs.plan import Plan
from analysis.designs.requests import DesignRequest
from analysis.designs.situations import Reason, Situation
from analysis.designs.trying import MOST_ADVISED, Option, options_of, repeated, sizes_of
from analysis.errors import PlanError

MOST_OTHERS = 5


@dataclass(frozen=True, kw_only=True)
class Advice:
    """``reasons`` why ``chosen``; ``cautions`` what to know before; ``runner_up`` None when nothing else would do.

    ``others``: what was laid out besides, the runner-up first, one of each shape, at most ``MOST_OTHERS``.
    """

    situation: Situation
    chosen: Option
    reasons: tuple[Reason, ...]
    cautions: tuple[Reason, ...]
    runner_up: Option | None
    others: tuple[Option, ...] = ()

    @property
    def request(self) -> DesignRequest:
        return self.chosen.request


def advise(situation: Situation) -> Advice:
    """The advised design and the next best. Raises PlanError when nothing can be planned, with the nearest way out."""
    _require_sense(situation)
    found: list[Option] = []
    most = situation.most_bakes or MOST_ADVISED
    # What has to be searched for comes last, and only where nothing ready-made is as good.
    for candidate in sorted(candidates(situation), key=lambda each: each.searched):
        if not (candidate.searched and _answered(found, candidate.tier, most)):
            found += options_of(candidate, situation)
    within = [option for option in found if option.bakes <= most]
    if not within:
        raise _nothing_fits(situation, found)
    # What cannot be set afresh is not asked to be, however much sooner that would answer.
    kept = [option for option in within if option.plan.design.error_groups]
    chosen = _best(kept or within)
    runner_up = _runner_up(chosen, found)
    return Advice(
        situation=situation,
        chosen=chosen,
        reasons=tuple(_reasons(chosen, situation)),
        cautions=tuple(_cautions(chosen, situation)),
        runner_up=runner_up,
        others=_others(chosen, runner_up, found),
    )


def instead(advice: Advice, option: Option) -> Advice:
    """The same situation with another of its designs chosen; what was chosen before is the runner-up."""
    rest = [each for each in advice.others if each is not option]
    return Advice(
        situation=advice.situation,
        chosen=option,
        reasons=tuple(_reasons(option, advice.situation)),
        cautions=tuple(_cautions(option, advice.situation)),
        runner_up=advice.chosen,
        others=(advice.chosen, *rest),
    )


def with_repeats(advice: Advice, times: int) -> Advice:
    """The chosen design with every treatment ``times`` times. Raises PlanError where it cannot be laid out."""
    made = repeated(advice.chosen, advice.situation, times)
    return replace(instead(advice, made), runner_up=advice.runner_up, others=advice.others)


def _others(chosen: Option, runner_up: Option | None, found: Sequence[Option]) -> tuple[Option, ...]:
    """The runner-up, the chosen shape in its other sizes, and the best of every further shape."""
    if runner_up is None:
        return ()
    shapes: dict[DesignRequest, list[Option]] = {}
    for option in found:
        shapes.setdefault(shape(option.request), []).append(option)
    sizes = [each for each in shapes[shape(chosen.request)] if each.bakes != chosen.bakes]
    best = [_best(listed) for key, listed in shapes.items() if key != shape(chosen.request)]
    listed = [*sorted(best, key=lambda each: (not each.good, each.tier, each.bakes)), *sizes[-1:]]
    return (runner_up, *(each for each in listed if each is not runner_up))[:MOST_OTHERS]


def _answered(found: Sequence[Option], tier: int, most: int) -> bool:
    return any(option.good and option.tier <= tier and option.bakes <= most for option in found)


def _require_sense(situation: Situation) -> None:
    if not situation.factors:
        raise PlanError("Nothing is to be changed.", where="what can you change", try_this="name one thing to change")
    for name in ("bakes_a_day", "most_bakes"):
        value = getattr(situation, name)
        if value is not None and value < 1:
            raise PlanError(f"{value} bakes answer nothing.", where=name, try_this="8")


def _best(options: Iterable[Option]) -> Option:
    """The smallest of the best tier that is good; when none is, of the best tier the one that sees most."""
    listed = list(options)
    good = [option for option in listed if option.good]
    if good:
        return min(good, key=lambda option: (option.tier, option.bakes))
    return min(listed, key=lambda option: (option.tier, -(option.power or 0.0), option.bakes))


def _runner_up(chosen: Option, found: Sequence[Option]) -> Option | None:
    """The best of another shape that costs more or less, else the same shape in the next size."""
    other = [option for option in found if shape(option.request) != shape(chosen.request)]
    unequal = [option for option in other if (option.bakes, option.days) != (chosen.bakes, chosen.days)]
    if unequal:
        return _best(unequal)
    sizes = [option for option in found if option.bakes != chosen.bakes]
    if sizes:
        return min(sizes, key=lambda option: (abs(option.bakes - chosen.bakes), option.bakes))
    return _best(other) if other else None


def shape(request: DesignRequest) -> DesignRequest:
    """The request without what only makes it larger or shares it out over days."""
    return replace(request, replicates=1, centre_points=None, block=None, block_size=None, whole_plots=None)


def _reasons(chosen: Option, situation: Situation) -> Iterable[Reason]:
    yield chosen.why
    if situation.aim != "which matter" and len(situation.factors) >= MANY and not _bends(chosen):
        yield Reason(key="find out which matter first", facts={"factors": len(situation.factors)})
    hard = [factor.name for factor in situation.factors if factor.hard_to_change]
    if hard and chosen.plan.design.error_groups:
        yield Reason(key="kept for a while", facts={"factors": hard, "times": runs_of_plots(chosen.plan)})
    if chosen.request.block is not None:
        size = max(sizes_of(chosen.plan, chosen.request.block))
        yield Reason(
            key="a block each day", facts={"block": chosen.request.block, "bakes": size, "fit": situation.bakes_a_day}
        )
    if situation.most_bakes is not None and not chosen.good and chosen.power is not None:
        yield Reason(key="as far as the bakes go", facts={"most": situation.most_bakes})


def _bends(chosen: Option) -> bool:
    return any(term.endswith("^2") for term in chosen.plan.design.judgement.terms)


def runs_of_plots(plan: Plan) -> int:
    """How many times what is hard to change is set: whole plots of the first error group."""
    group = plan.design.error_groups[0]
    return len({(run.block, run.groups[group]) for run in plan.runs})


def _cautions(chosen: Option, situation: Situation) -> Iterable[Reason]:
    if chosen.days_in_error:
        yield Reason(key="days in the error", facts={"days": chosen.days, "day": situation.day})
    for response in situation.responses:
        if response.spread is None:
            yield Reason(key="spread unknown", facts={"response": response.name})
        elif response.matters is None:
            yield Reason(key="no difference that matters", facts={"response": response.name})
    if not situation.responses:
        yield Reason(key="nothing measured")
    unsaid = [each.name for each in situation.responses if each.spread is not None and each.whole_plot_spread is None]
    if unsaid and chosen.plan.design.error_groups:
        yield Reason(key="settings taken to differ as bakes do", facts={"responses": unsaid})
    if chosen.power is not None and not chosen.good:
        worst = min((each for each in chosen.sureness if each.power is not None), key=lambda each: each.power or 0.0)
        yield Reason(key="too few bakes", facts={"response": worst.response, "power": worst.power, "same": worst.same})
    hard = [factor.name for factor in situation.factors if factor.hard_to_change]
    if hard and not chosen.plan.design.error_groups:
        yield Reason(key="set afresh each time", facts={"factors": hard, "bakes": chosen.bakes})


def _nothing_fits(situation: Situation, found: Sequence[Option]) -> PlanError:
    smallest = min(found, key=lambda option: option.bakes, default=None)
    if smallest is not None:
        return PlanError(
            f"{situation.most_bakes or MOST_ADVISED} bakes are too few to answer this; "
            f"the smallest plan that can takes {smallest.bakes}.",
            where="how many bakes at most",
            try_this=f"{smallest.bakes}, or fewer things to change",
        )
    return PlanError(
        "No design fits what can be changed and how many bakes there are.",
        where="what can you change",
        try_this="fewer things to change, two levels of each, or more bakes",
    )
