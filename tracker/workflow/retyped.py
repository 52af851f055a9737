"""What was typed to make this report, and which wishes are in it?

The command in a report's provenance is read back into what it was made from. It is never run:
only the options that our own reports write are understood.
"""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from tracker.errors import InputError
from tracker.workflow.asking import Columns
from tracker.workflow.options import Options, option_of
from tracker.workflow.reporting import DECIMALS, LOOKS, Look

_TRIAL = ("crumbwise", "trial", "report")
_FILE = ("crumbwise", "analyse")
_COLUMNS = {
    "--factor": "factors",
    "--block": "blocks",
    "--matters": "matters",
    "--scale": "scales",
}


@dataclass(frozen=True, kw_only=True)
class Typed:
    """``about`` is the name of a trial, or of a spreadsheet where ``columns`` are told."""

    about: str
    responses: tuple[str, ...]
    options: Options
    look: Look
    columns: Columns | None = None
    sheet: str | None = None


def read_command(command: str) -> Typed:
    """Raises InputError for a command that no report of ours holds."""
    try:
        words = shlex.split(command)
    except ValueError as error:
        raise _unread(command) from error
    begin = next((begin for begin in (_TRIAL, _FILE) if tuple(words[: len(begin)]) == begin), None)
    if begin is None or len(words) == len(begin):
        raise _unread(command)
    about, said = words[len(begin)], _by_option(words[len(begin) + 1 :], command)
    try:
        typed = _typed(about, said, of_file=begin == _FILE)
    except ValueError as error:
        raise _unread(command) from error
    if said:
        raise _unread(command)
    return typed


def _typed(about: str, said: dict[str, list[str]], *, of_file: bool) -> Typed:
    """Takes what it understands out of ``said``. Raises ValueError for a value that is none."""
    responses = tuple(said.pop("--response", ()))
    look = Look(**_looks(said))
    columns = _columns(responses, said) if of_file else None
    sheet = _last(said.pop("--sheet", None)) if of_file else None
    if of_file:
        said.pop("--report", None)
    return Typed(about=about, responses=responses, options=_options(said), look=look, columns=columns, sheet=sheet)


def _by_option(words: Sequence[str], command: str) -> dict[str, list[str]]:
    """Option -> its values, in their order; a flag has none."""
    flags = {option_of(each.name) for each in fields(Options) if each.default is False}
    said: dict[str, list[str]] = {}
    at = 0
    while at < len(words):
        option = words[at]
        if not option.startswith("--") or (option not in flags and at + 1 == len(words)):
            raise _unread(command)
        values = said.setdefault(option, [])
        if option not in flags:
            values.append(words[at + 1])
        at += 1 if option in flags else 2
    return said


def _looks(said: dict[str, list[str]]) -> dict[str, Any]:
    names = dict(zip(LOOKS, ("reader", "decimal", "temperature"), strict=True))
    found = {name: said.pop(option)[-1] for option, name in names.items() if option in said}
    if found.get("decimal", "point") not in DECIMALS or found.get("temperature", "C") not in ("C", "F"):
        raise ValueError("a way of writing that there is not")
    return found


def _columns(responses: tuple[str, ...], said: dict[str, list[str]]) -> Columns:
    many = {name: tuple(said.pop(option, ())) for option, name in _COLUMNS.items()}
    return Columns(responses=responses, bake=_last(said.pop("--bake", None)), **many)


def _options(said: dict[str, list[str]]) -> Options:
    """The inverse of ``Options.said``."""
    found: dict[str, Any] = {}
    models = said.pop("--model", [])  # "RESPONSE:MODEL" belongs to one response
    own = tuple(text for text in models if ":" in text)
    for_all = [text for text in models if ":" not in text]
    found |= {"models": own} if own else {}
    found |= {"model": for_all[-1]} if for_all else {}
    for each in fields(Options):
        values = said.pop(option_of(each.name), None)
        if values is not None:
            found[each.name] = _value(each.name, each.default, values)
    return Options(**found)


def _value(name: str, default: Any, values: list[str]) -> Any:
    if default is False:
        return True
    if isinstance(default, tuple):
        return tuple(float(value) for value in values) if name == "effective" else tuple(values)
    if isinstance(default, (int, float)):
        return type(default)(values[-1])
    return values[-1]


def _last(values: Sequence[str] | None) -> str | None:
    return values[-1] if values else None


def _unread(command: str) -> InputError:
    return InputError(
        "The command in this report is none that a report of Crumbwise is made by.",
        where=command[:120] or "provenance",
        try_this="crumbwise trial report --verify FILE.html with a report as it was written",
    )
