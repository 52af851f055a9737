"""How is a fault in a plan file told, and where in the file does it stand?"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError

from tracker.errors import InputError
from tracker.intake.spreadsheet import nearest


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One fault: ``table`` such as "factor 2" (counted from 1) and ``key`` tell where."""

    what: str
    try_this: str
    table: str = ""
    key: str = ""


# pydantic's error types -> what is wrong, and what would be right. {input} is the value, the rest its context.
WORDS = {
    "missing": ("is missing", "add it"),
    "literal_error": ("is {input}", "one of {expected}"),
    "string_type": ("is {input}, not text in quotes", '"…"'),
    "float_type": ("is {input}, not a number", "a number such as 1.5"),
    "int_type": ("is {input}, not a whole number", "a whole number such as 2"),
    "bool_type": ("is {input}", "true or false"),
    "list_type": ("is {input}, not a list", "values in brackets: [1, 2]"),
    "dict_type": ("is {input}, not a table", "a table such as {{ yogurt = 20 }}"),
    "model_type": ("is not a table", "a table in brackets"),
    "finite_number": ("is {input}, no number that can be weighed or measured", "a finite number"),
    "greater_than": ("is {input}", "more than {gt}"),
    "greater_than_equal": ("is {input}", "{ge} or more"),
    "less_than_equal": ("is {input}", "{le} or less"),
    "too_short": ("has {actual_length} value(s)", "at least {min_length}"),
    "too_long": ("has more than {max_length} values", "at most {max_length}"),
    "value_error": ("{error}", "plain text"),
}


# Keys whose value may be of two kinds.
EITHER = {
    "accept": "two numbers such as [40, 60], or one end: { at_least = 40 } or { at_most = 8.1 }",
    "levels": "a whole number of doses for an amount, a list of names in quotes for a category",
    "neutralises": "the name of what it neutralises in quotes, or a percentage of flour such as 1.5",
    "axial": '"rotatable", "face", "orthogonal", or a distance such as 1.5',
    "water_back": "true, or the name of the line the water comes off in quotes",
}


def problems_in(error: ValidationError, model: type[BaseModel], table: str) -> list[Problem]:
    """The faults pydantic found in one table, in words."""
    found: dict[object, Problem] = {}
    for fault in error.errors(include_url=False):
        key = _key(fault["loc"])
        problem = _unknown_key(fault, model, table) or Problem(
            what=_sentence(fault, key), try_this=EITHER.get(key) or _filled(fault, 1), table=table, key=key
        )
        # A value that may be of several kinds fails once for each: the first is enough.
        found.setdefault(key if key in EITHER else fault["loc"], problem)
    return list(found.values())


def _key(place: Sequence[str | int]) -> str:
    words = [str(part) for part in place if isinstance(part, str) and "[" not in part]
    return words[0] if words else ""


def _unknown_key(fault: Any, model: type[BaseModel], table: str) -> Problem | None:
    if fault["type"] != "extra_forbidden":
        return None
    key = str(fault["loc"][-1])
    inner = _model_at(model, fault["loc"][:-1])
    near = nearest(key, list(inner.model_fields))
    listed = ", ".join(inner.model_fields)
    return Problem(what=f'"{key}" is no key here.', try_this=near or f"one of {listed}", table=table, key=key)


def _model_at(model: type[BaseModel], place: Sequence[str | int]) -> type[BaseModel]:
    """The model of a table inside a table: only [[formula.line]] has one."""
    if "line" in place:
        from tracker.intake.plan_tables import LineTable

        return LineTable
    return model


def _sentence(fault: Any, key: str) -> str:
    if key in EITHER and fault["type"] != "value_error":
        return f'"{key}" cannot be read.'
    loc = fault["loc"]
    numbers = [part + 1 for part in loc if isinstance(part, int)]
    where = f", value {numbers[0]}," if numbers else ""
    inner = loc[-1]
    whole = isinstance(inner, int) or inner in (key, "[key]")  # "[key]": the name of a level under amounts or lines
    named = f'"{key}"{where}' if whole else f'"{inner}" of "{key}"{where}'
    return f"{named} {_filled(fault, 0)}."


def _filled(fault: Any, which: int) -> str:
    words = WORDS.get(fault["type"], ("cannot be used", "another value"))[which]
    context = {name: value for name, value in (fault.get("ctx") or {}).items()}
    shown = repr(fault.get("input")).replace("'", '"')
    return words.format(**{"input": shown if len(shown) < 60 else shown[:57] + "…", **context})


def line_of(text: str, table: str, key: str) -> int | None:
    """The line (from 1) of a key in a table such as "factor 2" or "design"; of the table itself as second best."""
    name, _, number = table.partition(" ")
    header = re.compile(rf"\s*\[\[?\s*{re.escape(name)}\s*\]?\]") if name else None
    wanted = re.compile(rf'\s*["\']?{re.escape(key)}["\']?\s*(=|\.)') if key else None
    inner = re.compile(rf"\s*\[+\s*{re.escape(name)}\s*\.\s*[\"']?{re.escape(key)}") if key and name else None
    inside, seen, start = header is None, 0, None
    for at, line in enumerate(text.splitlines(), start=1):
        if line.lstrip().startswith("["):
            if inside and inner and inner.match(line):
                return at
            mine = header is not None and bool(header.match(line))
            seen += mine
            inside = (mine and (not number or seen == int(number))) or (
                inside and header is not None and line.lstrip(" [").startswith(f"{name}.")
            )
            start = at if mine and inside else start
        elif inside and wanted and wanted.match(line):
            return at
    return start


def as_error(problems: Sequence[Problem], *, text: str, place: str) -> InputError:
    """One error that tells every problem with its line."""
    if len(problems) == 1:
        only = problems[0]
        return InputError(only.what, where=_place(only, text, place), try_this=only.try_this)
    ordered = sorted(problems, key=lambda problem: line_of(text, problem.table, problem.key) or 0)
    told = "\n".join(f"- {_place(p, text, '')}: {p.what} Try: {p.try_this}" for p in ordered)
    return InputError(f"The plan has {len(problems)} problems:\n{told}", where=place, try_this=ordered[0].try_this)


def _place(problem: Problem, text: str, place: str) -> str:
    line = line_of(text, problem.table, problem.key)
    parts = [place, problem.table, f"line {line}" if line else ""]
    return ", ".join(part for part in parts if part) or "plan"
