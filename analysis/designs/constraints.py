"""May these settings be baked together?

A constraint is a sentence of arithmetic over the factors, such as ``soda + powder <= 3`` or
``not (acid source = "vinegar" and soda > 2)``. It is read by the small grammar below and
never run as code:

    condition  := clause { ("and" | "or") clause }      ("and" binds closer)
    clause     := "not" clause | "(" condition ")" | sum compare sum | factor ("=" | "!=") "level"
    sum        := product { ("+" | "-") product }
    product    := power { ("*" | "/") power }
    power      := "-" power | value [ "^" power ]
    value      := number | factor | "(" sum ")"
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches

import numpy as np
from numpy.typing import NDArray

from analysis.designs.sums import Columns, Evaluated, Sum, add, bound_of, compare, divide, multiply, number
from analysis.errors import PlanError

Booleans = NDArray[np.bool_]

LONGEST = 500
DEEPEST = 40
COMPARISONS = ("<=", ">=", "!=", "==", "≤", "≥", "≠", "<", ">", "=")
SAME = {"≤": "<=", "≥": ">=", "≠": "!=", "==": "="}
NUMBER = re.compile(r"\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")
WORD = re.compile(r"(?:and|or|not)\b", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class Constraint:
    """``holds`` takes factor name -> array (n,) and tells for each row whether it may be baked.

    ``coefficients`` and ``bound`` say the same as ``sum(coefficient * factor) <= bound`` where the
    sentence is one linear comparison (an equation gives None); ``factors`` are the names it speaks of.
    """

    text: str
    factors: frozenset[str]
    test: Evaluated = field(repr=False)
    coefficients: Mapping[str, float] | None = None
    bound: float | None = None

    def holds(self, columns: Columns) -> Booleans:
        with np.errstate(all="ignore"):  # a division by nothing holds nothing
            return np.asarray(self.test(columns), dtype=np.bool_)


def read_constraints(texts: Sequence[str], factors: Mapping[str, Sequence[str]]) -> tuple[Constraint, ...]:
    """Constraints over ``factors`` (name -> its levels, empty for amounts and shares).

    Raises PlanError that shows where a sentence stops making sense.
    """
    return tuple(_Reader(text, factors).constraint() for text in texts)


class _Reader:
    def __init__(self, text: str, factors: Mapping[str, Sequence[str]]) -> None:
        self.text, self.at, self.depth = text, 0, 0
        self.factors = factors
        self.names = sorted(factors, key=len, reverse=True)  # "rye flour" before "rye"
        self.met: set[str] = set()
        self.single: tuple[Mapping[str, float], float] | None = None
        self.comparisons = 0

    def constraint(self) -> Constraint:
        if len(self.text) > LONGEST:
            raise self._wrong("it is too long")
        test = self._condition()
        if self._rest():
            raise self._wrong("nothing more was expected")
        plain = self.single if self.comparisons == 1 and not WORD.search(self._without_names()) else None
        return Constraint(
            text=self.text,
            factors=frozenset(self.met),
            test=test,
            coefficients=plain[0] if plain else None,
            bound=plain[1] if plain else None,
        )

    def _without_names(self) -> str:
        text = self.text
        for name in self.names:
            text = text.replace(name, "")
        return text

    # -- reading ---------------------------------------------------------------

    def _rest(self) -> str:
        while self.at < len(self.text) and self.text[self.at].isspace():
            self.at += 1
        return self.text[self.at :]

    def _take(self, *choices: str) -> str | None:
        rest = self._rest()
        for choice in choices:
            if rest.startswith(choice):
                self.at += len(choice)
                return choice
        return None

    def _take_word(self, word: str) -> bool:
        rest = self._rest()
        found = WORD.match(rest)
        if found is None or found.group().lower() != word or self._name_here(rest):
            return False
        self.at += len(word)
        return True

    def _name_here(self, rest: str) -> str | None:
        for name in self.names:
            ends = rest[len(name) : len(name) + 1]
            if rest[: len(name)].casefold() == name.casefold() and not (ends.isalnum() or ends == "_"):
                return name
        return None

    def _take_name(self) -> str | None:
        name = self._name_here(self._rest())
        if name is not None:
            self.at += len(name)
            self.met.add(name)
        return name

    # -- conditions ------------------------------------------------------------

    def _condition(self) -> Evaluated:
        tests = [self._all()]
        while self._take_word("or"):
            tests.append(self._all())
        return tests[0] if len(tests) == 1 else lambda columns: np.logical_or.reduce([test(columns) for test in tests])

    def _all(self) -> Evaluated:
        tests = [self._clause()]
        while self._take_word("and"):
            tests.append(self._clause())
        return tests[0] if len(tests) == 1 else lambda columns: np.logical_and.reduce([test(columns) for test in tests])

    def _clause(self) -> Evaluated:
        self.depth += 1
        if self.depth > DEEPEST:
            raise self._wrong("brackets stand too deep in each other")
        try:
            if self._take_word("not"):
                inner = self._clause()
                return lambda columns: ~np.asarray(inner(columns), dtype=np.bool_)
            return self._bracketed() or self._level() or self._comparison()
        finally:
            self.depth -= 1

    def _bracketed(self) -> Evaluated | None:
        """A condition in brackets; a bracket that begins a sum is left for the comparison."""
        begun, met, count, single = self.at, set(self.met), self.comparisons, self.single
        if self._take("(") is None:
            return None
        try:
            inner = self._condition()
            if self._take(")") is not None and self._begins_clause():
                return inner
        except PlanError:
            pass
        self.at, self.met, self.comparisons, self.single = begun, met, count, single
        return None

    def _begins_clause(self) -> bool:
        rest = self._rest()
        return not rest or rest.startswith(")") or (WORD.match(rest) is not None and not self._name_here(rest))

    def _level(self) -> Evaluated | None:
        begun = self.at
        name = self._name_here(self._rest())
        if name is None or not self.factors[name]:
            return None
        self._take_name()
        sign = self._take("!=", "≠", "==", "=")
        if sign is None:
            self.at = begun
            raise self._wrong(f'"{name}" is a category, which can only be compared with a level')
        level = self._quoted(name)
        self.comparisons += 2  # never a linear bound
        if SAME.get(sign, sign) == "=":
            return lambda columns: columns[name] == level
        return lambda columns: columns[name] != level

    def _quoted(self, name: str) -> str:
        found = re.match(r"\"([^\"]*)\"|'([^']*)'", self._rest())
        levels = list(self.factors[name])
        if found is None:
            raise self._wrong("a level in quotes was expected", f'{name} = "{levels[0]}"')
        level = found.group(1) if found.group(1) is not None else found.group(2)
        if level not in levels:
            near = get_close_matches(level, levels, n=1, cutoff=0.4)
            raise self._wrong(f'"{level}" is no level of "{name}"', f'"{near[0] if near else levels[0]}"')
        self.at += found.end()
        return level

    def _comparison(self) -> Evaluated:
        left = self._sum()
        sign = self._take(*COMPARISONS)
        if sign is None:
            raise self._wrong("a comparison such as <= was expected")
        right = self._sum()
        sign = SAME.get(sign, sign)
        self.comparisons += 1
        self.single = bound_of(left.linear, right.linear, sign)
        return lambda columns: compare(left.value(columns), right.value(columns), sign)

    # -- arithmetic ------------------------------------------------------------

    def _sum(self) -> Sum:
        out = self._product()
        while sign := self._take("+", "-", "−"):
            out = add(out, self._product(), -1.0 if sign != "+" else 1.0)
        return out

    def _product(self) -> Sum:
        out = self._power()
        while sign := self._take("*", "·", "×", "/"):
            other = self._power()
            out = divide(out, other) if sign == "/" else multiply(out, other)
        return out

    def _power(self) -> Sum:
        self.depth += 1
        if self.depth > DEEPEST:
            raise self._wrong("brackets or powers stand too deep in each other")
        try:
            if self._take("-", "−"):
                return add(number(0.0), self._power(), -1.0)
            base = self._bracket() or self._value()
            if self._take("^", "**") is None:
                return base
            exponent = self._power()
            return Sum(lambda columns: np.power(np.asarray(base.value(columns), float), exponent.value(columns)), None)
        finally:
            self.depth -= 1

    def _bracket(self) -> Sum | None:
        if self._take("(") is None:
            return None
        inner = self._sum()
        if self._take(")") is None:
            raise self._wrong("a closing bracket is missing")
        return inner

    def _value(self) -> Sum:
        rest = self._rest()
        found = NUMBER.match(rest)
        if found:
            self.at += found.end()
            return number(float(found.group()))
        name = self._take_name()
        if name is None:
            word = re.match(r"[^\W\d][\w ]*", rest)
            near = get_close_matches(word.group().strip(), self.names, n=1) if word else []
            raise self._wrong("a number or a factor was expected", near[0] if near else None)
        if self.factors[name]:
            raise self._wrong(f'"{name}" is a category, which has no amount')
        return Sum(lambda columns: columns[name], ({name: 1.0}, 0.0))

    def _wrong(self, why: str, try_this: str | None = None) -> PlanError:
        read, rest = self.text[: self.at].strip(), self._rest()[:40]
        here = f'at "{rest}"' if rest else "at its end"
        after = f" (after {read!r})" if read and rest else ""
        return PlanError(
            f'The constraint "{self.text[:80]}" cannot be read {here}{after}: {why}.',
            where="constraint",
            try_this=try_this or f'says = "{next(iter(self.factors))} <= 2"; factors are {", ".join(self.factors)}',
        )
