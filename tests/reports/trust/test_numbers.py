"""Is every number that a reader sees a stored one, written shorter?

While a page is made it is overheard which numbers are written, before any rounding. Each must be, to nine digits, a
number of the record behind the page (analysis, plan, notes, account of gas and acid) or one of the few things declared
below, each with the reason why a page may work it out. And every number in a sentence, caption, alt text or table cell
must have been written so, stand in a stored text, or be a count.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from analysis.words import findings
from reports.kinds import Told, sections_of
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


def within_levels(told: Told) -> Iterator[float]:
    """What is left over at each level has a standard deviation; the picture of the scatter shows it."""
    for result in told.analysis.responses:
        left = pd.DataFrame(
            [{**point.settings, "left": point.residual} for point in result.family.points if point.residual is not None]
        )
        if left.empty:
            continue
        names = [name for name in left if name != "left"]
        for by in [[name] for name in names] + [names]:
            yield from left.groupby(by)["left"].std().dropna()


def moved_by(told: Told) -> Iterator[float]:
    """How far a bake moves an effect is said in percent of half its interval; the check holds it as a ratio."""
    checks = (check for result in told.analysis.responses for check in result.checks if check.check == "influence")
    return (each for check in checks for n in numbers_in(check.facts) for each in (100 * n, 100 * round(n, 2)))


def linked(told: Told) -> Iterator[float]:
    """How taste words go with the account is asked of the analysis when the page is made, from notes and account."""
    from analysis.leavening.runs import PREDICTED_PH, SODA_LEFT
    from analysis.leavening.tags import tag_links
    from reports.figures.taste import tags_of

    if told.notes is None or told.chemistry is None:
        return
    tags: dict[str, list[str]] = {}
    for bake, cell in zip(told.notes["bake"], told.notes["tags"], strict=True):
        tags.setdefault(str(bake), []).extend(tags_of(cell))
    bakes = told.chemistry["bake"].astype(str)
    columns = [name for name in (SODA_LEFT, PREDICTED_PH, "measured_ph") if name in told.chemistry]
    values = {name: dict(zip(bakes, told.chemistry[name].astype(float), strict=True)) for name in columns}
    for link in tag_links(tags, values):
        yield from (100 * n for share in (link.share, link.low, link.high) for n in (share, 1 - share))


def expected_there(told: Told) -> Iterator[float]:
    """Curves and account are stored at many amounts; what to expect at the one recommended is read between two."""
    from reports.sections.glance import _amount, _followed

    followed = _followed(told.analysis)
    amount = _amount(followed)
    if amount is None:
        return
    yield amount
    for result in followed:  # one lane in the picture for each response: the mean over its curves
        bests = [curve.optimum for curve in result.family.dose.curves if curve.optimum]
        yield from (float(np.mean([getattr(b, name) for b in bests])) for name in ("dose", "response") if bests)
    for result in followed:
        curves = [curve.points for curve in result.family.dose.curves if curve.points]
        doses = [[point.dose for point in points] for points in curves]
        for name in ("mean", "low", "high"):
            sides = [[getattr(point, name) for point in points] for points in curves]
            if any(None in side for side in sides):
                continue
            at = [np.interp(amount, x, y) for x, y in zip(doses, sides, strict=True)]
            yield from (min(at), sum(at) / len(at), max(at))
    if told.chemistry is not None:
        dose = followed[0].family.dose
        by = [dose.by] if dose.by in told.chemistry else []
        means = told.chemistry.groupby([*by, dose.dose], observed=True).mean(numeric_only=True).reset_index()
        for _, group in means.groupby(by or (lambda _: 0), observed=True):
            yield from (np.interp(amount, group[dose.dose], group[name]) for name in group.select_dtypes("number"))
        everywhere = [
            [np.interp(amount, group[dose.dose], group[name]) for _, group in means.groupby(by or (lambda _: 0))]
            for name in means.select_dtypes("number")
        ]
        yield from (float(np.mean(values)) for values in everywhere)


def accounts(told: Told) -> Iterator[float]:
    """Bakes with the same settings have one row in the account: means of what was measured and foretold there."""
    if told.chemistry is None:
        return
    names = [factor.name for factor in told.analysis.question.factors if factor.name in told.chemistry]
    for size in range(len(names) + 1):
        for some in combinations(names, size):
            groups = told.chemistry.groupby(list(some), observed=True) if some else [(None, told.chemistry)]
            for _, group in groups:
                yield from group.mean(numeric_only=True).dropna()


def tags_counted(told: Told) -> Iterator[float]:
    """How many notes name a word at a treatment."""
    if told.notes is not None:
        yield from range(1, len(told.notes) + 1)


def bakes_counted(told: Told) -> Iterator[float]:
    """Bakes at each level, rows without a cell, checks that ask for a look: what can be counted, is."""
    yield from range(13)
    for result in told.analysis.responses:
        frame = pd.DataFrame([point.settings for point in result.family.points])
        for name in frame:
            yield from frame[name].value_counts()


FLOORS = (0.001, 0.99, 99.0)  # "p < 0.001", "p > 0.99" and "more than 99 %" are said of whatever lies beyond
DERIVED = (within_levels, moved_by, linked, expected_there, accounts, tags_counted, bakes_counted)


def catalogue() -> Iterator[float]:
    """Numbers that belong to our own fixed sentences: they are the same on every page."""
    from analysis.words.chemistry import MODEL_CAUTION
    from analysis.words.glossary import GLOSSARY

    yield from numbers_in([MODEL_CAUTION, list(GLOSSARY.values())])
    yield from (50.0, 80.0, 95.0)  # how sure the lines of the region of all goals are
    yield 100.0  # the account is for 100 g of flour
    yield 1989.0  # Lenth's paper


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


def may_stand(told: Told) -> Stored:
    plain = list(numbers_in(told))
    derived = [float(n) for derive in DERIVED for n in derive(told)]
    return Stored([*plain, *derived, *shares_of(plain), *FLOORS, *catalogue()])


def invented(written: Iterable[tuple[float, str]], allowed: Stored) -> list[str]:
    """What was written of a number that no record holds."""
    return [f"{text} (of {value!r})" for value, text in written if not allowed.exactly(value)]


def unwritten(page, told: Told) -> list[tuple[str, str, str]]:
    """(section, number, text) of what is shown though nobody wrote it and no stored text has it; counts apart."""
    known = digits_in(text for _, text in page.written) | digits_in(texts_of(told))
    counts = {str(int(n)) for n in may_stand(told).numbers if n == int(n)}
    return [
        (section.key, digits, text)
        for section in page.sections
        if section.key != "provenance"  # hashes, versions and a command: letters that happen to be digits
        for _, text in said_in(section)
        for digits in sorted(digits_in([text]) - known - counts)
    ]


def test_every_number_that_is_written_is_a_stored_one(pages, made):
    for name, told in pages.items():
        assert invented(made[name].written, may_stand(told)) == [], name
    assert sum(len(page.written) for page in made.values()) > 5000


def test_every_number_that_is_shown_was_written_or_is_a_stored_one_rounded(pages, made):
    """Cells that are set by decimals of their own are held against the record as they are rounded."""
    loose = shown = 0
    for name, told in pages.items():
        allowed = may_stand(told)
        left = unwritten(made[name], told)
        assert [one for one in left if not allowed.rounded(one[1])] == [], name
        loose += len(left)
        shown += sum(len(NUMBER.findall(text)) for section in made[name].sections for _, text in said_in(section))
    print(f"\n{shown} numbers shown, {loose} of them judged as rounded only")
    assert shown > 8000
    assert loose < 0.1 * shown


def test_a_number_that_is_off_by_a_little_is_named(pages, made):
    """How sharp the first test is: each written number moved by three parts in a thousand, one after the other."""
    caught = tried = 0
    for name, told in pages.items():
        allowed = may_stand(told)
        moved = [(1.003 * value + 1e-6, text) for value, text in made[name].written]
        caught += len(invented(moved, allowed))
        tried += len(moved)
    assert caught > 0.99 * tried


def test_a_sentence_that_invents_is_named(by_hand, listening, monkeypatch):
    """One function of the catalogue says a hundredth more than was found: the page betrays it."""
    undrawn, overheard = listening
    told = by_hand["screening"]
    honest = findings.numbers_of

    def boasting(finding, confidence, **more):
        return honest(replace(finding, size=1.01 * finding.size), confidence, **more)

    with undrawn(), overheard() as written:
        sections_of("kitchen", told)
    assert invented(written, may_stand(told)) == []
    monkeypatch.setattr(findings, "numbers_of", boasting)
    with undrawn(), overheard() as written:
        sections_of("kitchen", told)
    assert len(invented(written, may_stand(told))) >= 3
