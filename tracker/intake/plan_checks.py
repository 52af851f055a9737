"""Does the plan contradict itself?

Each check looks at tables that were read well on their own and yields what is wrong
between their keys. All of them run, so that a plan is mended in one go.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from difflib import get_close_matches

from tracker.intake.plan_problems import Problem
from tracker.intake.plan_shares import check_share
from tracker.intake.plan_tables import DesignTable, FactorTable, FormulaTable, HeadTable, ResponseTable

# Columns that every table of bakes has of its own.
TAKEN = ("bake", "order", "readings", "code", "piece", "repeat", "bake order", "place in design")
TAKEN_GROUPS = ("whole plot", "oven load", "oven place")

Numbered = Sequence[tuple[int, FactorTable]]


def check_factor(number: int, factor: FactorTable) -> Iterator[Problem]:
    table = f"factor {number}"
    if factor.kind == "share":
        yield from check_share(table, factor)
    elif factor.kind == "amount":
        yield from _check_amount(table, factor)
    else:
        yield from _check_category(table, factor)


def _check_amount(table: str, factor: FactorTable) -> Iterator[Problem]:
    name = factor.name
    if isinstance(factor.levels, list):
        yield Problem(
            what=f'"{name}" is an amount, but its levels are a list.',
            try_this='values = [0.5, 1, 2], or kind = "category"',
            table=table,
            key="levels",
        )
    for key in ("neutralises", "amounts", "lines", "reference", "of", "total"):
        if getattr(factor, key):
            yield Problem(
                what=f'"{key}" does not belong to an amount.',
                try_this="leave it out, or ingredient = the line that the amount sets",
                table=table,
                key=key,
            )
    yield from _check_range(table, factor)
    if factor.ingredient is not None and not factor.unit:
        yield Problem(
            what=f'In what is "{name}" weighed? Its unit is missing.',
            try_this='unit = "% flour"',
            table=table,
            key="unit",
        )
    if factor.ingredient is not None and min([*(factor.values or []), factor.low or 0]) < 0:
        yield Problem(what=f'"{name}" is weighed, but goes below 0.', try_this="low = 0", table=table, key="low")


def _check_range(table: str, factor: FactorTable) -> Iterator[Problem]:
    low, high, values = factor.low, factor.high, factor.values
    if values is None and (low is None or high is None):
        yield Problem(
            what=f'The doses of "{factor.name}" are missing.',
            try_this="low = 0.5 and high = 2.5, or values = [0.5, 1, 2]",
            table=table,
            key="name",
        )
    if low is not None and high is not None and low >= high:
        yield Problem(
            what=f"low = {low:g} is not below high = {high:g}.", try_this="a low below the high", table=table, key="low"
        )
    for value in values or []:
        if (low is not None and value < low) or (high is not None and value > high):
            yield Problem(
                what=f"The dose {value:g} lies outside low and high.",
                try_this="leave out low and high: the values say it all",
                table=table,
                key="values",
            )
    for value in sorted(set(values or [])):
        if (values or []).count(value) > 1:
            yield Problem(
                what=f"The dose {value:g} stands twice among the values.",
                try_this="each dose once; replicates under [design] bake it again",
                table=table,
                key="values",
            )
    if values is not None and factor.levels is not None and factor.levels != len(values):
        yield Problem(
            what=f"levels = {factor.levels}, but there are {len(values)} values.",
            try_this="leave out levels",
            table=table,
            key="levels",
        )
    if factor.spacing == "geometric" and (values is not None or (low is not None and low <= 0)):
        yield Problem(
            what="Doses in equal ratios need a low above 0, and no values.",
            try_this="low = 0.25, or values that name the zero dose as well",
            table=table,
            key="spacing",
        )


def _check_category(table: str, factor: FactorTable) -> Iterator[Problem]:
    levels = factor.level_names
    for key in ("low", "high", "values", "ingredient", "of", "total"):
        if getattr(factor, key) is not None:
            yield Problem(
                what=f'"{key}" does not belong to a category.',
                try_this='levels = ["yogurt", "lemon juice"], with lines or amounts to weigh them',
                table=table,
                key=key,
            )
    if len(levels) < 2:
        yield Problem(
            what=f'"{factor.name}" needs at least two levels.',
            try_this='levels = ["yogurt", "lemon juice"]',
            table=table,
            key="levels",
        )
    yield from _check_level_names(table, levels)
    yield from _check_level_keys(table, factor, levels)
    if factor.neutralises is not None and factor.amounts:
        yield Problem(
            what="Both neutralises and amounts say how much to weigh.",
            try_this="one of the two",
            table=table,
            key="neutralises",
        )


def _check_level_names(table: str, levels: list[str]) -> Iterator[Problem]:
    seen: dict[str, str] = {}
    for level in levels:
        before = seen.get(level.casefold())
        seen[level.casefold()] = level
        if before is not None:
            same = f'The level "{level}" stands twice.'
            yield Problem(
                what=same if before == level else f'The levels "{before}" and "{level}" differ only in case.',
                try_this="each level once, with a name of its own",
                table=table,
                key="levels",
            )


def _check_level_keys(table: str, factor: FactorTable, levels: list[str]) -> Iterator[Problem]:
    if factor.reference is not None and factor.reference not in levels:
        yield Problem(
            what=f'The reference "{factor.reference}" is no level of "{factor.name}".',
            try_this=nearest_or_all(factor.reference, levels),
            table=table,
            key="reference",
        )
    for key, given in (("amounts", factor.amounts), ("lines", factor.lines)):
        for level in given:
            if level not in levels:
                yield Problem(
                    what=f'"{level}" under {key} is no level of "{factor.name}".',
                    try_this=nearest_or_all(level, levels),
                    table=table,
                    key=key,
                )
    missing = [level for level in levels if factor.amounts and level not in factor.amounts]
    if missing:
        yield Problem(
            what=f"amounts leaves out {', '.join(missing)}.",
            try_this=f'"{missing[0]}" = 0 if nothing is weighed',
            table=table,
            key="amounts",
        )


def nearest_or_all(name: str, known: Sequence[str]) -> str:
    """What to try: the nearest known name, else all of them."""
    close = get_close_matches(name, known, n=1, cutoff=0.4)
    return f'"{close[0]}"' if close else f"one of {', '.join(known)}"


def check_response(number: int, response: ResponseTable) -> Iterator[Problem]:
    table = f"response {number}"

    def problem(key: str, what: str, try_this: str) -> Problem:
        return Problem(what=what, try_this=try_this, table=table, key=key)

    if response.scale == "score" and len(response.anchors) < 2:
        yield problem(
            "anchors", f'The score "{response.name}" has no words for its steps.', 'anchors = ["gummy", "fair", "fine"]'
        )
    if response.scale != "score" and response.anchors:
        yield problem("anchors", "Anchors belong to a score.", 'scale = "score"')
    if len({anchor.casefold() for anchor in response.anchors}) < len(response.anchors):
        yield problem("anchors", "Two anchors are the same.", "a word of its own for each step")
    if response.goal == "target" and response.target is None:
        yield problem("goal", 'goal = "target" without a target.', "target = 7.2")
    if response.goal != "target" and response.target is not None:
        yield problem("target", "A target is given, but the goal is not to hit it.", 'goal = "target"')
    for key in ("plausible", "possible", "accept"):
        bounds = getattr(response, key)
        if bounds is not None and None not in bounds and bounds[0] >= bounds[1]:
            yield problem(key, f"{key} = {bounds} does not rise.", f"{key} = [lowest, highest]")
    if response.plausible and response.possible and not _inside(response.plausible, response.possible):
        yield problem(
            "plausible", "The plausible range reaches outside the possible one.", "a wider possible, or leave it out"
        )
    if (response.accept is not None or response.importance != 1.0) and response.goal is None:
        what = "accept" if response.accept is not None else "importance"
        yield problem(what, f"{what} weighs goals against each other, but there is no goal.", 'goal = "maximise"')
    if response.target is not None and response.accept and not _between(response.target, *response.accept):
        yield problem("accept", "The target lies outside what is acceptable.", "accept = [below, above] the target")
    possible = response.possible or response.plausible
    if response.target is not None and possible and not possible[0] <= response.target <= possible[1]:
        yield problem(
            "target", f"The target {response.target:g} lies outside what can be.", "a target inside the range"
        )


def _between(target: float, low: float | None, high: float | None) -> bool:
    """Strictly; an end that is None is open."""
    return (low is None or low < target) and (high is None or target < high)


def _inside(inner: list[float], outer: list[float]) -> bool:
    return outer[0] <= inner[0] and inner[1] <= outer[1]


def check_names(
    factors: Numbered, responses: Sequence[tuple[int, ResponseTable]], design: DesignTable | None
) -> Iterator[Problem]:
    """Every factor, response and the block needs a name that no other has, whatever its case."""
    seen: dict[str, str] = {}
    named = [
        *((f"factor {number}", "factor", factor.name) for number, factor in factors),
        *((f"response {number}", "response", response.name) for number, response in responses),
    ]
    for what in ("block", "rows", "columns"):
        name = getattr(design, what, None)
        if name is not None and not (what != "block" and design is not None and name == design.block):
            named.append(("design", what, name))
    for table, what, name in named:
        folded = name.casefold()
        key = what if table == "design" else "name"
        taken = (*TAKEN, *TAKEN_GROUPS) if what in ("factor", "response") else TAKEN
        if folded in taken:
            yield Problem(
                what=f'"{name}" is a column every table of bakes has already.',
                try_this=f'another name, such as "{name} used"',
                table=table,
                key=key,
            )
        if folded in seen:
            yield Problem(
                what=f'The name "{name}" of {_these(what)} is that of {_these(seen[folded])} already.',
                try_this="a name of its own for each",
                table=table,
                key=key,
            )
        seen.setdefault(folded, what)


def _these(what: str) -> str:
    return f"these {what}" if what in ("rows", "columns") else f"a {what}"


def check_design(design: DesignTable) -> Iterator[Problem]:
    if design.block_size is not None and design.block is None:
        yield Problem(
            what=f"block_size = {design.block_size}, but not of what.",
            try_this='block = "bake day"',
            table="design",
            key="block_size",
        )


def check_head(head: HeadTable, formula: FormulaTable | None) -> Iterator[Problem]:
    if (head.formula or formula) and head.flour_per_bake_g is None:
        yield Problem(
            what="How much flour goes into one bake? Without it nothing can be weighed.",
            try_this="flour_per_bake_g = 300",
            key="formula",
        )
