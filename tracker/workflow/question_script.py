"""Which questions lead from a wish to a plan, in which order, and what does each answer mean?

A generator: it gives a question and is sent the value that was read from its answer.
"""

from __future__ import annotations

from collections.abc import Generator, Mapping, Sequence
from typing import Any

from tracker.intake.plan_tables import FactorTable
from tracker.workflow import answers as read
from tracker.workflow.response_questions import responses
from tracker.workflow.wishes import AIMS, Asked, Wishes

MOST_FACTORS = 10
MOST_BAKES = 400
WEIGHT_UNITS = ("% flour", "%", "g", "% of flour")
FEWEST = {"which matter": 2, "best setting": 2, "best blend": 2}
FIRST_NAMES = {"how much": "soda", "which kind": "fat", "as good": "fat", "best blend": "wheat flour"}
# What a word in a name makes likely: unit, doses.
LIKELY = {"oven": ("°C", "170 to 190"), "temperature": ("°C", "170 to 190"), "time": ("min", "5 to 30")}
KINDS = {"amount": "an amount (a number)", "category": "a kind (butter, oil)"}

Script = Generator[Asked, Any, None]
Formulas = Mapping[str, Sequence[str]]


def script(wishes: Wishes, formulas: Formulas) -> Script:
    wishes.aim = yield Asked(
        key="aim",
        words="What do you want to know?",
        default="1",
        help="The answer decides how the bakes are chosen.",
        read=read.choice(list(AIMS), list(AIMS.values())),
        choices=tuple(AIMS.values()),
    )
    if formulas:
        yield from _formula(wishes, formulas)
    yield from _factors(wishes, formulas.get(wishes.formula or "", ()))
    yield from _hard(wishes)
    wishes.bakes_a_day = yield Asked(
        key="bakes a day",
        words="How many bakes fit into one day?",
        default="8",
        help="A bake is mixed and baked afresh. Days differ, so a longer plan is shared out over days.",
        read=read.whole(2, MOST_BAKES),
    )
    wishes.most_bakes = yield Asked(
        key="bakes at most",
        words="How many bakes at most in all?",
        default="as many as needed",
        help="The plan stays within it, and says what that costs in sureness.",
        read=read.optional(read.whole(3, MOST_BAKES), ("as many as needed", *read.NONE)),
        offers=("as many as needed",),
    )
    yield from responses(wishes)
    wishes.title = yield Asked(
        key="title",
        words="What shall the trial be called?",
        default=_title(wishes),
        help="It stands at the head of sheets and reports.",
        read=read.name((), "trial"),
    )


def _formula(wishes: Wishes, formulas: Formulas) -> Script:
    named = list(formulas)
    wishes.formula = yield Asked(
        key="formula",
        words="Which formula is baked?",
        default=named[0],
        help=f"With it the bench sheet says what to weigh. The kitchen has: {', '.join(named)}.",
        read=read.optional(read.one_of(named)),
        offers=(*named, "none"),
    )
    if wishes.formula is not None:
        wishes.flour_per_bake_g = yield Asked(
            key="flour",
            words="How much flour goes into one bake (g)?",
            default="300",
            help="All flours together, in grams.",
            read=read.above_zero_in("g"),
        )


def _factors(wishes: Wishes, lines: Sequence[str]) -> Script:
    fewest = FEWEST.get(wishes.aim, 1)
    while len(wishes.factors) < MOST_FACTORS:
        count = len(wishes.factors)
        taken = [factor.name for factor in wishes.factors]
        needed = count < fewest
        default = "no more"
        if needed:
            first = FIRST_NAMES.get(wishes.aim, "soda")
            default = first if count == 0 else "rye flour" if wishes.aim == "best blend" else f"thing {count + 1}"
        naming = read.name(taken, "thing")
        chosen = yield Asked(
            key="factor",
            words=f"What can you change? Name of thing {count + 1}",
            default=default,
            help="One thing that you set on purpose, such as soda, fat or oven temperature.",
            read=naming if needed else read.optional(naming, ("no more", *read.NONE)),
            offers=() if needed else ("no more",),
        )
        if chosen is None:
            return
        yield from _factor(wishes, chosen, lines)


def _factor(wishes: Wishes, name: str, lines: Sequence[str]) -> Script:
    if wishes.aim == "best blend":
        yield from _share(wishes, name, lines)
        return
    if wishes.aim == "how much" and not wishes.factors:
        yield from _amount(wishes, name, lines)
        return
    usual = "category" if wishes.aim in ("which kind", "as good") else "amount"
    kind = yield Asked(
        key="kind",
        words=f"Is {name} an amount or a kind?",
        default=str(list(KINDS).index(usual) + 1),
        help="An amount is a number you can raise; a kind is one thing instead of another.",
        read=read.choice(list(KINDS), list(KINDS.values())),
        choices=tuple(KINDS.values()),
    )
    yield from _amount(wishes, name, lines) if kind == "amount" else _category(wishes, name, lines)


def _amount(wishes: Wishes, name: str, lines: Sequence[str]) -> Script:
    likely = next((usual for word, usual in LIKELY.items() if word in name.casefold()), ("% flour", "0.5 to 2.5"))
    unit = yield Asked(
        key="unit",
        words=f"In which unit is {name} given?",
        default=likely[0],
        help='"% flour" is grams for 100 g of flour; "g", "°C" or "min" are as good.',
        read=read.label,
        offers=("% flour", "g", "°C", "min"),
    )
    weighed = unit in WEIGHT_UNITS
    doses = yield Asked(
        key="doses",
        words=f"From how much to how much {name} ({unit or 'no unit'})?",
        default=likely[1],
        help="The least and the most, as in 0.5 to 2.5; or the doses you want, as in 0.5; 1; 2. "
        "Decimals take a comma or a point.",
        read=read.doses(weighed=weighed, unit=unit),
    )
    line = None
    if weighed and lines:
        line = yield _line(name, lines, "Which line of the formula does it set?")
    said = {"low": doses[0], "high": doses[1]} if isinstance(doses, tuple) else {"values": doses}
    wishes.factors.append(FactorTable(name=name, kind="amount", unit=unit, ingredient=line, **said))


def _category(wishes: Wishes, name: str, lines: Sequence[str]) -> Script:
    levels = yield Asked(
        key="kinds",
        words=f"Which kinds of {name}?",
        default="butter, oil",
        help="Names with commas between them, as in butter, oil. The one you use now comes first.",
        read=read.kinds,
    )
    line = None
    if lines:
        line = yield _line(name, lines, "Which line of the formula does it take the place of?")
    wishes.factors.append(FactorTable(name=name, kind="category", levels=levels, replaces=line))


def _share(wishes: Wishes, name: str, lines: Sequence[str]) -> Script:
    low, high = yield Asked(
        key="share",
        words=f"From how much to how much {name} (% of the whole)?",
        default="0 to 100",
        help="The shares of all parts add up to 100.",
        read=read.part_of(100),
    )
    line = None
    if lines:
        line = yield _line(name, lines, "Which line of the formula does it set?")
    wishes.factors.append(
        FactorTable(
            name=name,
            kind="share",
            unit="% flour",
            of="flour",
            ingredient=line,
            low=low or None,
            high=None if high == 100 else high,
        )
    )


def _line(name: str, lines: Sequence[str], words: str) -> Asked:
    same = next((line for line in lines if line.casefold() == name.casefold()), None)
    near = next((line for line in lines if name.casefold() in line.casefold()), "none")
    return Asked(
        key="line",
        words=f"{name}: {words}",
        default=same or near,
        help=f"One of {', '.join(lines)}; or none, when it is not weighed.",
        read=read.optional(read.one_of(lines)),
        offers=(*lines, "none"),
    )


def _hard(wishes: Wishes) -> Script:
    names = [factor.name for factor in wishes.factors]
    hard = yield Asked(
        key="hard to change",
        words="Which of these can you not set afresh for each bake?",
        default="none",
        help=f"Such as an oven that takes an hour to settle. You named: {', '.join(names)}.",
        read=read.some_of(names),
        offers=tuple(names),
        many=True,
    )
    wishes.factors[:] = [factor.model_copy(update={"hard_to_change": factor.name in hard}) for factor in wishes.factors]


def _title(wishes: Wishes) -> str:
    names = [factor.name for factor in wishes.factors]
    if wishes.aim == "best blend":
        return f"The best blend of {read.listed(names)}"
    if wishes.aim == "which matter":
        return f"Which of {read.listed(names)} matter"[:100]
    if wishes.aim == "how much":
        return f"How much {read.listed(names)}"[:100]
    if wishes.aim == "best setting":
        return f"The best {read.listed(names)}"[:100]
    return f"Which {read.listed(names)}"[:100] if wishes.aim == "which kind" else f"Is the other {names[0]} as good"
