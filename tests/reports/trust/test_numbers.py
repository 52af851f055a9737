"""Is every number that a reader sees a stored one, written shorter?

While a page is made it is overheard which numbers are written, before any rounding. Each must be, to nine digits, a
number of the record behind the page (analysis, plan, notes, account of gas and acid) or one of the few things declared
below, each with the reason why a page may work it out. And every number in a sentence, caption, alt text or table cell
must have been written so, stand in a stored text, or be a count.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from trust_holding import NUMBER, Stored, invented, numbers_in, said_in, shares_of, unwritten

from analysis.words import findings
from analysis.words.classroom import SAFETY
from analysis.words.numbers import say_number
from analysis.words.panel import CONSENT, HOW
from reports.kinds import Told, sections_of


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


def asked_of_the_class(told: Told) -> Iterator[float]:
    """What the answers to the questions work out from two numbers that are shown: a difference, a quotient, grams."""
    from analysis.leavening.runs import SODA_LEFT
    from analysis.leavening.substances import SUBSTANCES

    for result in told.analysis.responses:
        treatments = {tuple(sorted((n, str(v)) for n, v in p.settings.items())) for p in result.family.points}
        yield from (result.n_readings / result.n_bakes, result.n_bakes / max(len(treatments), 1))
        spread = result.family.residual.sd if result.family.residual else None
        for point in result.family.points:
            if spread and point.fitted is not None:
                shown = [float(say_number(value, spread)) for value in (point.observed, point.fitted)]
                yield from (shown[0] - shown[1], round(shown[0] - shown[1], 9))
                yield abs(shown[0] - shown[1]) / spread
    if told.chemistry is not None and len(told.chemistry):
        left = round(float(told.chemistry[SODA_LEFT].max()), 2)
        yield from (left, left / SUBSTANCES["cream of tartar"].neutralising_value * 100)


def compared_assessors(told: Told) -> Iterator[float]:
    """Assessors are held against each other by the analysis when the page is made, from the scores as they stand."""
    from analysis.scores.assessors import panel_of

    if told.scores is None or told.scores["person"].nunique() < 2:
        return
    for response in (result.response for result in told.analysis.responses if result.response.scale == "score"):
        own = told.scores[told.scores["response"] == response.name].rename(columns={"score": response.name})
        yield from numbers_in(panel_of(own, response, told.analysis.question))


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


def may_stand(told: Told) -> Stored:
    plain = list(numbers_in(told))
    derived = [float(n) for derive in DERIVED for n in derive(told)]
    return Stored([*plain, *derived, *shares_of(plain), *FLOORS, *catalogue()])


def test_every_number_that_is_written_is_a_stored_one(pages, made):
    for name, told in pages.items():
        assert invented(made[name].written, may_stand(told)) == [], name
    assert sum(len(page.written) for page in made.values()) > 5000


def test_every_number_that_is_shown_was_written_or_is_a_stored_one_rounded(pages, made):
    """Cells that are set by decimals of their own are held against the record as they are rounded."""
    loose = shown = 0
    for name, told in pages.items():
        allowed = may_stand(told)
        left = unwritten(made[name], told, allowed)
        assert [one for one in left if not allowed.rounded(one[1])] == [], name
        loose += len(left)
        shown += sum(len(NUMBER.findall(text)) for section in made[name].sections for _, text in said_in(section))
    print(f"\n{shown} numbers shown, {loose} of them judged as rounded only")
    assert shown > 8000
    assert loose < 0.1 * shown


@pytest.mark.parametrize("kind", ["class", "panel"])
def test_pages_of_other_kinds_hold_stored_numbers_only(kind, pages, panelled, other_kinds):
    more = {"class": asked_of_the_class, "panel": compared_assessors}[kind]
    counted = 0
    for (of, name), page in other_kinds.items():
        if of != kind:
            continue
        told = {**pages, **panelled}[name]
        allowed = Stored([*may_stand(told).numbers, *more(told), *numbers_in([SAFETY, CONSENT, HOW]), 0.05])
        assert invented(page.written, allowed) == [], name
        assert [one for one in unwritten(page, told, allowed) if not allowed.rounded(one[1])] == [], name
        counted += len(page.written)
    assert counted > {"class": 5000, "panel": 100}[kind]


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
