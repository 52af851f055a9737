"""Can this have been measured?

A value that is no value of the response's scale, or lies outside what is possible, is
refused. One that is only unlikely is kept, with a warning: the oven may be right.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

from tracker.errors import InputError
from tracker.intake.numbers import number_text, read_number
from tracker.models import Response

_YES_NO = {"yes": 1.0, "y": 1.0, "true": 1.0, "1": 1.0, "no": 0.0, "n": 0.0, "false": 0.0, "0": 0.0}


@dataclass(frozen=True, kw_only=True)
class Value:
    """A value as it will be kept; ``warning`` says why it is unlikely ("" when it is not)."""

    value: float
    warning: str = ""


def read_value(text: str, response: Response, *, where: str) -> Value:
    """The value ``text`` gives for ``response``. Raises InputError when it cannot be one."""
    value = _on_scale(text.strip(), response, where)
    _refuse_impossible(value, response, where)
    return Value(value=value, warning=_unlikely(value, response, where))


def anchors_of(response: Response) -> tuple[str, ...]:
    return tuple(json.loads(response.anchors or "[]"))


def _on_scale(text: str, response: Response, where: str) -> float:
    if response.scale == "yes-no":
        if text.casefold() not in _YES_NO:
            raise _wrong(response, f'"{text}" is neither yes nor no', where, "write yes or no")
        return _YES_NO[text.casefold()]
    anchors = anchors_of(response)
    if response.scale == "score" and text.casefold() in [word.casefold() for word in anchors]:
        return float([word.casefold() for word in anchors].index(text.casefold()) + 1)
    number = read_number(text, what=response.name, where=where)
    if response.scale == "score":
        _check_score(number, anchors, response, where)
    if response.scale == "count" and (number < 0 or not number.is_integer()):
        raise _wrong(response, f"{number_text(number)} is no count", where, "write a whole number, 0 or more")
    return number


def _check_score(number: float, anchors: tuple[str, ...], response: Response, where: str) -> None:
    top = len(anchors) or None
    if not number.is_integer() or number < 1 or (top is not None and number > top):
        scale = f"the whole numbers 1 to {top}" if top else "whole numbers from 1"
        words = "; ".join(f"{at} {word}" for at, word in enumerate(anchors, start=1))
        raise _wrong(
            response,
            f"{number_text(number)} is no score; scores are {scale}",
            where,
            f"write one of {words}" if words else "write a whole number",
        )


def _refuse_impossible(value: float, response: Response, where: str) -> None:
    low, high = response.possible_low, response.possible_high
    if (low is not None and value < low) or (high is not None and value > high):
        raise _wrong(
            response,
            f"{with_unit(value, response)} is impossible; it lies {_range(low, high)}",
            where,
            "check the number and its unit",
        )


def _unlikely(value: float, response: Response, where: str) -> str:
    low, high = response.plausible_low, response.plausible_high
    if (low is not None and value < low) or (high is not None and value > high):
        return f"{where}: {response.name} {with_unit(value, response)} is unlikely; it mostly lies {_range(low, high)}."
    return ""


def _range(low: float | None, high: float | None) -> str:
    if low is not None and high is not None:
        return f"between {number_text(low)} and {number_text(high)}"
    return f"at {number_text(low)} or more" if low is not None else f"at {number_text(high or 0.0)} or less"


def with_unit(value: float, response: Response) -> str:
    return f"{number_text(value)} {response.unit}".strip()


def _wrong(response: Response, what: str, where: str, try_this: str) -> InputError:
    return InputError(f"{response.name}: {what}.", where=where, try_this=try_this)
