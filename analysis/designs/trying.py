"""Could this design be baked here, how large must it be, and how surely would it answer?

A candidate is really laid out, larger and larger, in blocks of a day where a day is too short,
until it sees the difference that matters.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

from scipy.stats import t as student_t

from analysis.designs.arrangement import in_blocks
from analysis.designs.catalogue import KINDS
from analysis.designs.judgement import FEWEST_DF
from analysis.designs.plan import Plan, lay_out
from analysis.designs.requests import DesignRequest, DesignResponse
from analysis.designs.situations import Candidate, Reason, Situation
from analysis.errors import PlanError

ENOUGH = 0.8  # chance to see the difference that matters, common practice
MOST_ADVISED = 60  # bakes, when nobody says how many at most
MOST_REPEATED = 400  # bakes that are still shared out over days
LAST_RESORT = 10  # tiers lower: days that cannot be taken out


@dataclass(frozen=True, kw_only=True)
class Sureness:
    """What is known of one response: the widest half-width of what the aim asks for, in ``unit``.

    ``power``: chance to see the difference that ``matters``; with ``same`` the chance that a
    substitute that is just as good is found to be so within it. None where the plan cannot say.
    """

    response: str
    unit: str
    half_width: float | None
    matters: float | None
    power: float | None
    same: bool = False


@dataclass(frozen=True, kw_only=True)
class Option:
    """A design that was really laid out. ``days`` is None without a limit of bakes a day."""

    request: DesignRequest
    plan: Plan
    bakes: int
    days: int | None
    sureness: tuple[Sureness, ...]
    why: Reason
    tier: int
    days_in_error: bool = False

    @property
    def df_error(self) -> int:
        """The fewest error degrees of freedom of any stratum in which something is judged."""
        return min(int(each["df_error"]) for each in self.plan.design.judgement.strata if each["terms"])

    @property
    def power(self) -> float | None:
        """The lowest chance over the responses; None when none is known."""
        known = [each.power for each in self.sureness if each.power is not None]
        return min(known) if known else None

    @property
    def good(self) -> bool:
        """Does it see what matters or, when nobody can say, at least repeat some treatment?"""
        if self.power is not None:
            return self.power >= ENOUGH
        return len({tuple(run.settings.items()) for run in self.plan.runs}) < self.bakes

    def to_json(self) -> dict[str, Any]:
        return {
            "kind": self.request.kind,
            "bakes": self.bakes,
            "days": self.days,
            "df_error": self.df_error,
            "responses": [
                {
                    "response": each.response,
                    "unit": each.unit or None,
                    "half_width": each.half_width,
                    "matters": each.matters,
                    "power": each.power,
                }
                for each in self.sureness
            ],
        }


def options_of(candidate: Candidate, situation: Situation) -> list[Option]:
    """The candidate laid out, growing until it is good or too large to be thought of."""
    if candidate.request.kind not in KINDS:
        return []
    found: list[Option] = []
    beyond = 0
    ceiling = ceiling_of(situation)
    for keys in candidate.grown:
        option = _laid_out(replace(candidate.request, **keys), candidate, situation, ceiling)
        if option is None:
            continue
        beyond = beyond + 1 if option.bakes > ceiling else 0
        if beyond > 1:  # one step may be larger than the next: centre points come before replicates
            break
        if not beyond and option.df_error >= FEWEST_DF and _tells(option, situation):
            found.append(option)
        if found and found[-1].good:
            break
    return found


def repeated(option: Option, situation: Situation, times: int) -> Option:
    """The same design with every treatment ``times`` times. Raises PlanError where it cannot be laid out."""
    was = option.request
    centres = None if was.centre_points is None else was.centre_points // was.replicates * times
    request = replace(was, replicates=times, centre_points=centres)
    # Days are shared out anew, except where the design itself is made of them.
    for asked in (replace(request, block=None, block_size=None), request):
        candidate = Candidate(request=asked, why=option.why, tier=option.tier, searched=asked.kind == "optimal")
        made = _laid_out(asked, candidate, situation, MOST_REPEATED)
        if made is not None:
            return made
    lay_out(request)  # which says why not
    raise PlanError("That cannot be laid out.", where="repeats", try_this="fewer")


def ceiling_of(situation: Situation) -> int:
    """A runner-up may take half as many bakes again as there are."""
    most = situation.most_bakes
    return MOST_ADVISED if most is None else max(most + most // 2, most + 8)


def _tells(option: Option, situation: Situation) -> bool:
    """Can it tell everything that the aim asks for?"""
    lost = set(option.plan.design.judgement.cannot_tell)
    return not lost & {factor.name for factor in situation.factors}


def _laid_out(request: DesignRequest, candidate: Candidate, situation: Situation, ceiling: int) -> Option | None:
    """The plan in blocks of a day where a day is too short; None when it cannot be laid out."""
    a_day = situation.bakes_a_day
    surely_in_days = candidate.searched and a_day is not None and (request.runs or 0) > a_day
    plan = None if surely_in_days else _plan(request)
    bakes = None if plan is None else len(plan.runs)
    days_in_error = False
    if a_day is not None and (bakes is None or a_day < bakes <= ceiling):
        in_days = _in_days(request, bakes, situation)
        if in_days is None and surely_in_days:
            plan = _plan(request)
        days_in_error = in_days is None and not _row_a_day(plan, request, situation)
        request, plan = in_days or (request, plan)
    if plan is None:
        return None
    return Option(
        request=request,
        plan=plan,
        bakes=len(plan.runs),
        days=None if a_day is None else _days(plan, a_day, situation.day),
        sureness=tuple(_sureness(plan, response, situation) for response in request.responses),
        why=candidate.why,
        tier=candidate.tier + LAST_RESORT * days_in_error,
        days_in_error=days_in_error,
    )


def _plan(request: DesignRequest) -> Plan | None:
    try:
        return lay_out(request)
    except PlanError:
        return None


def _in_days(request: DesignRequest, bakes: int | None, situation: Situation) -> tuple[DesignRequest, Plan] | None:
    """The same in the largest blocks of a day that come out even, unless a shorter last day saves whole days."""
    assert situation.bakes_a_day is not None
    if request.rows == situation.day:  # a square is in days already
        return None
    by_sets = KINDS[request.kind].arrange is in_blocks  # others divide themselves, not always evenly
    fullest = None
    for size in range(situation.bakes_a_day, 1, -1):
        if by_sets and fullest is not None and bakes is not None and bakes % size:
            continue  # smaller days that do not come out even are no fewer
        found = _blocked(request, size, situation)
        if found is None:
            continue
        if not by_sets or len(set(sizes_of(found[1], situation.day))) == 1:
            saves = fullest is not None and fullest[1].design.blocks < found[1].design.blocks
            return fullest if saves else found
        fullest = fullest or found
        bakes = len(found[1].runs)
    return fullest


def _blocked(request: DesignRequest, size: int, situation: Situation) -> tuple[DesignRequest, Plan] | None:
    """In more than one block of a day of ``size`` bakes; None where they do not hold it."""
    asked = replace(request, block=situation.day, block_size=size)
    plan = _plan(asked)
    return (asked, plan) if plan is not None and plan.design.blocks > 1 else None


def _row_a_day(plan: Plan | None, request: DesignRequest, situation: Situation) -> bool:
    """Is every day a row of a square that a day can hold?"""
    if plan is None or request.rows != situation.day or situation.bakes_a_day is None:
        return False
    return max(sizes_of(plan, situation.day)) <= situation.bakes_a_day


def sizes_of(plan: Plan, group: str) -> list[int]:
    """How many runs stand in each of a group's labels."""
    return list(Counter(run.groups[group] for run in plan.runs if group in run.groups).values())


def _days(plan: Plan, a_day: int, day: str) -> int:
    sizes = sizes_of(plan, day)
    return sum(-(-size // a_day) for size in sizes) if sizes else -(-len(plan.runs) // a_day)


def focus(situation: Situation) -> frozenset[str]:
    """The factors whose effects the aim asks for."""
    wanted = {
        "how much": ("amount",),
        "which kind": ("category",),
        "as good": ("category",),
        "best setting": ("amount",),
        "best blend": ("share",),
    }.get(situation.aim)
    named = frozenset(factor.name for factor in situation.factors if wanted is None or factor.kind in wanted)
    return named or frozenset(factor.name for factor in situation.factors)


def _sureness(plan: Plan, response: DesignResponse, situation: Situation) -> Sureness:
    judged, asked = plan.design.judgement, focus(situation)
    widths = {name: width for name, width in (judged.half_widths.get(response.name) or {}).items() if name in asked}
    chances = [chance for name, chance in (judged.power.get(response.name) or {}).items() if name in asked]
    half_width = max(widths.values(), default=None)
    power = min(chances, default=None)
    same = situation.aim == "as good"
    if same and half_width is not None and response.matters is not None:
        power = _chance_same(half_width, response.matters, judged.df_error)
    return Sureness(
        response=response.name,
        unit=response.unit,
        half_width=half_width,
        matters=response.matters,
        power=power,
        same=same,
    )


def _chance_same(half_width: float, margin: float, df: int) -> float:
    """About the chance that the whole 95 % interval lies within the margin when there is no difference.

    The estimate must lie within margin - half_width of 0; its standard error is half_width / t.
    """
    if df <= 0 or half_width >= margin:
        return 0.0
    error = half_width / float(student_t.ppf(0.975, df))
    return 2 * float(student_t.cdf((margin - half_width) / error, df)) - 1
