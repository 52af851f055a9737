"""What was wished for each response: a margin, what is good enough, how much it counts?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from analysis.questions import Goal, Margin, Response
from tracker.errors import InputError, UsageError
from tracker.intake.mapping import plain
from tracker.intake.numbers import read_number
from tracker.intake.spreadsheet import nearest
from tracker.workflow.options import Options

BETWEEN = ".."
RATIO = "ratio"


def set_wishes(
    responses: Sequence[Response], options: Options, *, spelled: Mapping[str, str] | None = None
) -> tuple[Response, ...]:
    """The responses with margins, acceptable ranges, importance and terms. Raises UsageError or InputError.

    Terms that were asked for, for one response or for all, are kept; nothing then leaves some of them out.
    """
    names, units = [response.name for response in responses], {**with_units(responses), **(spelled or {})}
    models = by_response(options.models, names, "--model", spelled=units)
    margins = by_response(options.margins, names, "--margin", spelled=units)
    accepts = by_response(options.accepts, names, "--accept", spelled=units)
    weights = by_response(options.importances, names, "--importance", spelled=units)
    return tuple(
        replace(
            response,
            margin=_margin(margins[response.name]) if response.name in margins else response.margin,
            accept=_range(accepts[response.name], "--accept") if response.name in accepts else response.accept,
            importance=_importance(weights[response.name]) if response.name in weights else response.importance,
            model=models.get(response.name, options.model),  # type: ignore[arg-type]  # one of the models
        )
        for response in responses
    )


def set_goals(
    responses: Sequence[Response], texts: Sequence[str], *, spelled: Mapping[str, str] | None = None
) -> tuple[Response, ...]:
    """The responses with the goals that were said, in place of their own."""
    names, units = [response.name for response in responses], {**with_units(responses), **(spelled or {})}
    goals = by_response(texts, names, "--goal", spelled=units)
    said = {name: read_goal(text) for name, text in goals.items()}
    return tuple(
        replace(response, goal=said[response.name][0], target=said[response.name][1])
        if response.name in said
        else response
        for response in responses
    )


def set_matters(
    responses: Sequence[Response], texts: Sequence[str], *, spelled: Mapping[str, str] | None = None
) -> tuple[Response, ...]:
    """The responses with the difference that matters, where it was said."""
    said = by_response(texts, [response.name for response in responses], "--matters", spelled=spelled)
    return tuple(
        replace(response, matters=_matters(said[response.name])) if response.name in said else response
        for response in responses
    )


def refuse_costs(texts: Sequence[str], columns: Sequence[str]) -> None:
    """A spreadsheet has no formula and so no price; a column of that name is a response like any other."""
    for text in texts:
        name, _, goal = (part.strip() for part in text.rpartition(":"))
        if name in ("cost", "cost per bake") and name not in columns:
            raise InputError(
                "A spreadsheet has no formula whose price could be worked out.",
                where="--goal",
                try_this=f'a column "{name}" with --response "{name}", or crumbwise trial analyse NAME --goal "{name}:'
                f'{goal}"',
            )


def read_goal(text: str) -> tuple[Goal, float | None]:
    """ "maximise", "minimise" or "target=7.2", with the target. Raises UsageError or InputError."""
    word, equals, number = (part.strip() for part in text.partition("="))
    if word == "maximise" and not equals:
        return "maximise", None
    if word == "minimise" and not equals:
        return "minimise", None
    if word == "target" and number:
        return "target", option_number(number, what="target", where="--goal")
    near = nearest(word, ["maximise", "minimise", "target"])
    raise UsageError(
        f'"{text}" is no goal; goals are maximise, minimise and target=NUMBER.',
        where="--goal",
        try_this=f"--goal {near or 'maximise'}" + ("=7.2" if near == "target" else ""),
    )


def by_response(
    texts: Sequence[str], names: Sequence[str], option: str, *, spelled: Mapping[str, str] | None = None
) -> dict[str, str]:
    """Response -> what was said of it; a text without a name speaks of the only response.

    Capitals and underscores do not matter. ``spelled``: what else a name is called, such as "rise (mm)", of
    responses and of what is none. Raises UsageError.
    """
    called = {plain(other): name for other, name in (spelled or {}).items()} | {plain(name): name for name in names}
    said: dict[str, str] = {}
    for text in texts:
        typed, colon, value = (part.strip() for part in text.rpartition(":"))
        name = names[0] if not colon and len(names) == 1 else called.get(plain(typed), typed)
        if name not in names:
            near = nearest(name, list(names)) or names[0]
            way = f'--response "{typed}"' if plain(typed) in called else f'{option} "{near}:{value}"'
            what = f'"{typed}" is no response of this analysis.' if colon else f'"{text}" names no response.'
            raise UsageError(what, where=option, try_this=way)
        keep(said, name, value, option)
    return said


def with_units(responses: Sequence[Response]) -> dict[str, str]:
    """ "rise height (mm)" -> "rise height"."""
    return {f"{response.name} ({response.unit})": response.name for response in responses if response.unit}


def option_number(text: str, *, what: str, where: str) -> float:
    """The number of an option; what is none was typed wrongly. Raises UsageError."""
    try:
        return read_number(text, what=what, where=where)
    except InputError as wrong:
        raise UsageError(wrong.what, where=wrong.where, try_this=wrong.try_this) from wrong


def _matters(text: str) -> float:
    number = option_number(text, what="the difference that matters", where="--matters")
    if number <= 0:
        raise UsageError("The difference that matters is above 0.", where="--matters", try_this="--matters 3")
    return number


def keep(said: dict[str, str], name: str, value: str, option: str) -> None:
    """Note what was said of a response. Raises UsageError when something else was said of it already."""
    if said.get(name, value) != value:
        raise UsageError(
            f'"{name}" was given both {said[name]} and {value}.', where=option, try_this=f'{option} "{name}:{value}"'
        )
    said[name] = value


def _margin(text: str) -> Margin:
    ratio = text.endswith(RATIO)
    body = text.removesuffix(RATIO).strip()
    if BETWEEN not in body:
        size = option_number(body, what="the margin", where="--margin")
        if size <= 0 or (ratio and size >= 1):
            raise UsageError(
                f"A margin of {body} leaves no room.", where="--margin", try_this='--margin 2, or "0.95..1.05 ratio"'
            )
        return Margin(low=1 - size, high=1 / (1 - size), ratio=True) if ratio else Margin(low=-size, high=size)
    low, high = _range(body, "--margin")
    middle = 1.0 if ratio else 0.0
    if low is None or high is None or not low < middle < high or (ratio and low <= 0):
        raise UsageError(
            f'A margin reaches from below {middle:g} to above it; "{text}" does not.',
            where="--margin",
            try_this='--margin "0.95..1.05 ratio"' if ratio else "--margin -2..2",
        )
    return Margin(low=low, high=high, ratio=ratio)


def _range(text: str, option: str) -> tuple[float | None, float | None]:
    first, between, second = (part.strip() for part in text.partition(BETWEEN))
    if not between or not (first or second):
        raise UsageError(f'"{text}" is no range.', where=option, try_this=f"{option} 45.. or {option} 6.9..7.5")
    low = option_number(first, what="the lower end", where=option) if first else None
    high = option_number(second, what="the upper end", where=option) if second else None
    if low is not None and high is not None and low >= high:
        turned = f"{option} 45.." if low == high else f"{option} {second}{BETWEEN}{first}"
        raise UsageError(f"The range {text} ends before it begins.", where=option, try_this=turned)
    return low, high


def _importance(text: str) -> float:
    weight = option_number(text, what="the importance", where="--importance")
    if not 0 < weight < 1000:
        raise UsageError("An importance lies above 0.", where="--importance", try_this="--importance 2")
    return weight
