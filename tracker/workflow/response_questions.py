"""What is measured, how finely must it be known, and when is a reading surely a slip?

The part of the questions that is asked for each response.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

from tracker.intake.plan_tables import ResponseTable
from tracker.workflow import answers as read
from tracker.workflow.usual_ranges import usual_range
from tracker.workflow.wishes import Asked, Wishes

MOST_RESPONSES = 5
GOALS = {"maximise": "more is better", "minimise": "less is better", "none": "neither"}
PH = [0.0, 14.0]  # the scale of pH in water: a 72 is a 7.2 without its point

Script = Generator[Asked, Any, None]


def responses(wishes: Wishes) -> Script:
    while len(wishes.responses) < MOST_RESPONSES:
        taken = [*(factor.name for factor in wishes.factors), *(each.name for each in wishes.responses)]
        naming = read.name(taken, "reading")
        first = not wishes.responses
        chosen = yield Asked(
            key="response",
            words="What do you measure?" if first else "What else do you measure?",
            default="rise height" if first else "no more",
            help="Something read off each bake, such as rise height, crumb pH or spread.",
            read=naming if first else read.optional(naming, ("no more", *read.NONE)),
            offers=() if first else ("no more",),
        )
        if chosen is None:
            return
        yield from _response(wishes, chosen)


def _response(wishes: Wishes, name: str) -> Script:
    unit = yield Asked(
        key="response unit",
        words=f"In which unit is {name} read?",
        default="mm" if "height" in name or "spread" in name else "none",
        help='Such as mm, ml or min; "none" for pH or a ratio. '
        "For a score its steps, the worst first: gummy; fair; fine.",
        read=read.unit_or_steps,
        offers=("mm", "ml", "min", "none"),
    )
    goal = yield Asked(
        key="goal",
        words=f"Is more {name} better?",
        default="1",
        help="It decides which amount is recommended at the end.",
        read=read.choice(list(GOALS), list(GOALS.values())),
        choices=tuple(GOALS.values()),
    )
    steps, unit = (unit, "") if isinstance(unit, list) else ([], unit)
    told = f" ({unit})" if unit else " (steps)" if steps else ""
    possible = PH if "ph" in name.casefold().split() and not steps else None
    matters = yield Asked(
        key="matters",
        words=f"What difference in {name} matters{told}?",
        default="not known",
        help="The smallest difference that would make you bake otherwise. The plan is made to see it.",
        read=read.optional(read.above_zero_in(unit), read.UNKNOWN),
        offers=("not known",),
    )
    differ = yield Asked(
        key="differ",
        words=f"How much do two bakes of the same thing usually differ{told}?",
        default="not known",
        help="Both mixed and baked afresh, nothing changed on purpose. It decides how many bakes are needed.",
        read=read.optional(read.above_zero_in(unit), read.UNKNOWN),
        offers=("not known",),
    )
    if differ is not None:
        wishes.differ[name] = differ
    plausible = None
    if not steps:
        plausible = yield from _plausible(wishes, name, unit, possible, (matters, differ))
    wishes.responses.append(
        ResponseTable(
            name=name,
            unit=unit,
            scale="score" if steps else "measured",
            anchors=steps,
            plausible=None if plausible is None else list(plausible),
            possible=possible,
            goal=None if goal == "none" else goal,
            matters=matters,
            spread=None if differ is None else read.spread_of(differ),
        )
    )


def _plausible(
    wishes: Wishes,
    name: str,
    unit: str,
    possible: list[float] | None,
    differences: tuple[float | None, float | None],
) -> Generator[Asked, Any, tuple[float, float] | None]:
    """What lies outside is asked about at the bench, and kept all the same."""
    usual = usual_range(name, unit, flour_g=wishes.flour_per_bake_g, differences=differences)
    from_what = f" Proposed: {usual.text}, {usual.why}." if usual else ""
    found = yield Asked(
        key="plausible",
        words=f"From what to what can {name} come out{f' ({unit})' if unit else ''}?",
        default=usual.text if usual else "not known",
        help="A reading outside is kept, but the bench asks whether it is right. Leave room for a failed bake; "
        f'after "none" it never asks.{from_what}',
        read=read.optional(read.between(unit, possible), read.UNKNOWN),
        offers=(usual.text, "none") if usual else ("not known",),
    )
    if usual and found == (usual.low, usual.high):
        wishes.proposed[name] = usual.why
    return found
