"""What does a page show, what does the record behind it hold, and is the one to be found in the other?

Loaded by conftest as ``trust_holding``: tests are no package, and no folder of theirs is on the path.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
import pandas as pd

from reports.sections.blocks import Section

NUMBER = re.compile(r"(?<![\w.])[+\-−]?(?:\d+(?:\.\d+)?(?:e[+-]?\d+)?)(?![\w])")


def said_in(section: Section) -> Iterator[tuple[str, str]]:
    """(what it is, text) of everything in a section that a reader reads or hears."""
    yield "title", section.title
    for block in section.blocks:
        match block.kind:
            case "words" | "heading":
                yield "sentence", block.text
            case "items":
                yield from (("sentence", item) for item in block.items)
            case "facts":
                if not block.exact:
                    yield from (("fact", value) for _, value in block.pairs)
            case "picture":
                yield "alt", block.figure.alt
                yield "caption", block.figure.caption
                yield from cells(block.figure.table)
            case "grid":
                yield "caption", block.caption
                yield from cells(block.table)


def cells(table) -> Iterator[tuple[str, str]]:
    """Each cell with the unit of its column: a share in a column of percents is read as one."""
    yield from (("heading of a column", column) for column in table.columns)
    for row in table.rows:
        for column, cell in zip(table.columns, row, strict=True):
            yield "cell", f"{cell} %" if "%" in column and NUMBER.fullmatch(cell) else cell


def numbers_in(value: Any) -> Iterator[float]:
    """Every number of a record, at whatever depth, in its texts too; and how many there are of everything."""
    if value is None or isinstance(value, bool):
        return
    if isinstance(value, str):
        yield from (float(found.replace("−", "-")) for found in NUMBER.findall(value))
    elif isinstance(value, (int, float, np.number)):
        yield float(value)
    elif isinstance(value, pd.DataFrame):
        yield float(len(value))
        yield from numbers_in([list(value.columns), *value.to_numpy(dtype=object).tolist()])
    elif is_dataclass(value) and not isinstance(value, type):
        yield from (n for f in fields(value) if f.name != "predictor" for n in numbers_in(getattr(value, f.name)))
    elif isinstance(value, Mapping):
        yield float(len(value))
        yield from (n for pair in value.items() for n in numbers_in(pair))
    elif isinstance(value, (list, tuple, set, frozenset, np.ndarray)):
        yield float(len(value))
        yield from (n for one in value for n in numbers_in(one))


class Stored:
    """Numbers that a page may show; signs apart, since words say "lower by"."""

    def __init__(self, numbers: Iterable[float]) -> None:
        self.numbers = sorted({abs(n) for n in numbers if n == n})

    def within(self, value: float, reach: float) -> bool:
        at = bisect_left(self.numbers, abs(value) - reach)
        return at < len(self.numbers) and self.numbers[at] <= abs(value) + reach

    def exactly(self, value: float) -> bool:
        return self.within(value, 1e-9 * abs(value) + 1e-12)

    def rounded(self, shown: str) -> bool:
        """Whether one of the numbers, rounded to the decimals of ``shown``, is ``shown``."""
        return self.within(float(shown), 0.5 * 10.0 ** -len(shown.partition(".")[2]) * (1 + 1e-9))


def shares_of(stored: Iterable[float]) -> Iterator[float]:
    """A share is written in percent, in whole or tenths, with its complement where the other side is meant."""
    for share in stored:
        if 0 <= share <= 1:
            yield from (100 * each for v in (share, 1 - share, 2 * share - 1) for each in (v, round(v, 2), round(v, 3)))


def texts_of(value: Any) -> Iterator[str]:
    """Every text of a record, at whatever depth."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, pd.DataFrame):
        yield from texts_of([list(value.columns), *value.to_numpy(dtype=object).tolist()])
    elif is_dataclass(value) and not isinstance(value, type):
        yield from (t for f in fields(value) if f.name != "predictor" for t in texts_of(getattr(value, f.name)))
    elif isinstance(value, Mapping):
        yield from (t for pair in value.items() for t in texts_of(pair))
    elif isinstance(value, (list, tuple, set, frozenset)):
        yield from (t for one in value for t in texts_of(one))


def digits_in(texts: Iterable[str]) -> set[str]:
    return {found.lstrip("+-−") for text in texts for found in NUMBER.findall(text)}


def invented(written: Iterable[tuple[float, str]], allowed: Stored) -> list[str]:
    """What was written of a number that no record holds."""
    return [f"{text} (of {value!r})" for value, text in written if not allowed.exactly(value)]


def unwritten(page: Any, record: Any, allowed: Stored) -> list[tuple[str, str, str]]:
    """(section, number, text) of what is shown though nobody wrote it and no stored text has it; counts apart."""
    known = digits_in(text for _, text in page.written) | digits_in(texts_of(record))
    counts = {str(int(n)) for n in allowed.numbers if n == int(n)}
    return [
        (section.key, digits, text)
        for section in page.sections
        if section.key != "provenance"  # hashes, versions and a command: letters that happen to be digits
        for _, text in said_in(section)
        for digits in sorted(digits_in([text]) - known - counts)
    ]
