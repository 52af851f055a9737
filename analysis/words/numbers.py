"""How is a number said?

A number is rounded to what its uncertainty carries: two significant digits of the
``step`` (half the width of its interval), so that 8.2134 ± 5.1 is read as 8.2.
Plain minus, no grouping. Where words are only read, ``true_minus`` sets "−5"
for "-5"; in JSON it stays what a keyboard types. The decimal mark, and whether warmth is in °C
or °F, is the reader's wish (``with writing(decimal=",")``); every number that a person reads is
made here, so that one page has one way of writing. Without a wish: decimal point and °C.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Literal

from analysis.words.plurals import several

Decimal = Literal[".", ","]
Warmth = Literal["C", "F"]

ROUNDING = 1e-9
CELSIUS, FAHRENHEIT = "°C", "°F"
_MOST_DECIMALS = 10
_SHOWN = re.compile(r"[+\-−]?\d+(?:[.,]\d+)?")
_NEGATIVE = re.compile(r"(?<![^\s(])-(?=\d)")
_POINT_BETWEEN = re.compile(r"(?<=\d)\.(?=\d)")
_A_NUMBER = re.compile(r"[\-−]?\d+(?:[.,]\d+)?")
_COMMA_BETWEEN = re.compile(r"\d,\d")
_TOGETHER = re.compile(r"(?<=\d) (?=[%°])|(?<=[=<>]) (?=[\d−])|(?<=\bp) (?=[=<>] )")


@dataclass(frozen=True, kw_only=True)
class Writing:
    """How numbers are written: the decimal mark and the unit of warmth."""

    decimal: Decimal = "."
    temperature: Warmth = "C"


_PLAIN = Writing()
_writing: ContextVar[Writing] = ContextVar("writing", default=_PLAIN)


@contextmanager
def writing(*, decimal: Decimal = ".", temperature: Warmth = "C") -> Iterator[Writing]:
    """Numbers said inside are written so; afterwards as before. Each thread has its own."""
    wish = Writing(decimal=decimal, temperature=temperature)
    token = _writing.set(wish)
    try:
        yield wish
    finally:
        _writing.reset(token)


def written() -> Writing:
    """How numbers are written now."""
    return _writing.get()


def as_written(digits: str) -> str:
    """The digits of one number, made with a point, with the decimal mark that is wished for."""
    return digits if written().decimal == "." else _POINT_BETWEEN.sub(",", digits)


def say_number(value: float | None, step: float | None = None) -> str:
    """``value`` rounded to two significant digits of ``step``; without a step to three of its own."""
    if value is None:
        return "not known"
    if not step or not math.isfinite(step):
        return _three_digits(value)
    decimals = min(1 - math.floor(math.log10(abs(step))), _MOST_DECIMALS)
    if decimals > 0:
        text = _no_minus_zero(f"{value:.{decimals}f}")
        return "0" if decimals == _MOST_DECIMALS and not text.strip("0.") else as_written(text)
    return _no_minus_zero(f"{round(value, decimals):.0f}")


def say_fixed(value: float, decimals: int) -> str:
    """A value to so many decimals, where a whole column has them."""
    return as_written(_no_minus_zero(f"{value:.{decimals}f}"))


def say_digits(value: float, digits: int) -> str:
    """A value to so many digits of its own, without zeros behind."""
    return as_written(f"{value:.{digits}g}")


def say_percent(share: float, decimals: int = 0) -> str:
    """0.953 as "95 %", to so many decimals."""
    return f"{say_fixed(100 * share, decimals)} %"


def say_signed(value: float, step: float | None = None) -> str:
    """A difference with its sign, "+8.2"; nothing before a zero."""
    text = say_number(value, step)
    return text if text.startswith("-") or not text.strip("0.,") else f"+{text}"


def say_level(value: float | str) -> str:
    """A level as it was set: 2.50 is "2.5"; text stays as it is, unless it is nothing but a number."""
    if isinstance(value, str):
        return value if number_shown(value) is None else as_written(value)
    return as_written(_no_minus_zero(f"{value:.6g}"))


def say_setting(value: float | str, unit: str) -> str:
    """A level with its unit; a temperature in °C is said in °F where that is wished for ("180 °C" is "356 °F")."""
    if unit.strip() == CELSIUS and written().temperature == "F" and not isinstance(value, str):
        return f"{say_level(1.8 * value + 32)} {FAHRENHEIT}"
    return with_unit(say_level(value), unit)


def with_warmth(said: str, unit: str) -> str:
    """A setting, or several, with its unit; where °F is wished for, what is in °C has it in brackets.

    "170 to 190", "°C": "170 to 190 °C (338 to 374 °F)". Not for differences, which have no 32 in them.
    """
    shown = with_unit(said, unit)
    if unit.strip() != CELSIUS or written().temperature != "F":
        return shown
    return f"{shown} ({_A_NUMBER.sub(_in_fahrenheit, said)} {FAHRENHEIT})"


def _in_fahrenheit(found: re.Match[str]) -> str:
    """To as many decimals as the °C have: 186 °C is 367 °F."""
    decimals = len(re.split("[.,]", found[0])[-1]) if {".", ","} & set(found[0]) else 0
    return say_fixed(1.8 * (number_shown(found[0]) or 0.0) + 32, decimals)


def say_dose(value: float, low: float | None, high: float | None) -> str:
    """An estimated dose to one digit of its half-width: nobody weighs finer than that."""
    half = half_width(low, high)
    return say_number(value, 10 * half if half else None)


def say_amount(value: float | None, unit: str, step: float | None = None) -> str:
    return with_unit(say_number(value, step), unit)


def true_minus(text: str) -> str:
    """The text with a true minus before its negative numbers; a hyphen in a word, date or range stays."""
    return _NEGATIVE.sub("−", text)


def kept_together(text: str) -> str:
    """``true_minus``, and no line ends inside "95 %" or "p < 0.001": for pages and paper, where lines wrap."""
    return _TOGETHER.sub("\u00a0", true_minus(text))


def number_shown(text: str) -> float | None:
    """The number that a cell shows, with point or comma and either minus; None when it shows something else."""
    if not _SHOWN.fullmatch(text):
        return None
    return float(text.replace("−", "-").replace(",", "."))


def with_unit(text: str, unit: str) -> str:
    return f"{text} {unit}".rstrip()


def half_width(low: float | None, high: float | None) -> float | None:
    """The step that goes with an interval; None without one, or where its ends differ by rounding only."""
    if low is None or high is None or abs(high - low) <= ROUNDING * max(abs(low), abs(high)):
        return None
    return (high - low) / 2


def say_interval(low: float | None, high: float | None, confidence: float) -> str:
    """ "95 % interval 3.1 to 13.3"; says so when an end is missing."""
    if low is None and high is None:
        return "no interval"
    step = half_width(low, high)
    if low is None:
        return f"{say_share(confidence)} interval up to {say_number(high)}"
    if high is None:
        return f"{say_share(confidence)} interval from {say_number(low)} on"
    return f"{say_share(confidence)} interval {say_number(low, step)} to {say_number(high, step)}"


def say_dose_interval(low: float | None, high: float | None, confidence: float) -> str:
    """The interval of an estimated dose, to the digits of ``say_dose``; "" where it is not closed."""
    if half_width(low, high) is None or low is None or high is None:
        return ""
    return f"{say_share(confidence)} interval {say_dose(low, low, high)} to {say_dose(high, low, high)}"


def say_share(share: float) -> str:
    """0.95 as "95 %"."""
    return f"{say_digits(100 * share, 4)} %"


def say_p(p: float) -> str:
    """ "p = 0.012": two significant digits, with a floor and a ceiling."""
    if p < 0.001:
        return as_written("p < 0.001")
    if p > 0.99:
        return as_written("p > 0.99")
    decimals = 1 - math.floor(math.log10(p))
    return f"p = {say_fixed(p, decimals)}"


def say_count(n: float, thing: str, things: str | None = None) -> str:
    """ "1 bake", "4 bakes"."""
    return f"{say_level(n)} {thing if n == 1 else things or several(thing)}"


def join_words(words: Sequence[str], last: str = "and") -> str:
    """ "a", "a and b", "a, b and c"; "2,5; 3 and 3,5" where a comma stands inside a number."""
    words = list(words)
    if len(words) < 2:
        return "".join(words)
    return f"{say_list(words[:-1], among=words)} {last} {words[-1]}"


def say_list(words: Sequence[str], *, among: Sequence[str] = ()) -> str:
    """ "a, b, c"; with semicolons where one of them (or of those it stands ``among``) has a decimal comma."""
    comma = written().decimal == "," and any(_COMMA_BETWEEN.search(word) for word in (*words, *among))
    return ("; " if comma else ", ").join(words)


def start(sentence: str) -> str:
    """The sentence with a capital at its beginning (the rest untouched: pH stays pH inside)."""
    if sentence.startswith("pH"):
        return sentence
    return sentence[:1].upper() + sentence[1:]


def _three_digits(value: float) -> str:
    if value == 0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    if size >= 15 or size < -_MOST_DECIMALS:
        return as_written(f"{value:.3g}")
    if size >= 2:
        return _no_minus_zero(f"{value:.0f}")
    return as_written(_no_minus_zero(f"{value:.{2 - size}f}".rstrip("0").rstrip(".")))


def _no_minus_zero(text: str) -> str:
    return text.lstrip("-") if not text.strip("-0.") else text
