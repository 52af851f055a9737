"""Is every sentence of a page one of the catalogue's, made from the answer alone?

All sentences are made again: those of the published JSON, read back as a machine reads it, and the few that only a
page says, by asking ``analysis.words`` for them. What stands on a page and cannot be made again would be a sentence of
the page's own.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from analysis.leavening.measured import odd_ph
from analysis.leavening.runs import PREDICTED_PH, SODA_LEFT
from analysis.leavening.substances import SUBSTANCES
from analysis.leavening.tags import tag_links
from analysis.scores.assessors import panel_of
from analysis.serialise import analysis_json
from analysis.words import (
    GLOSSARY,
    say_check,
    say_left_out,
    say_treatment,
)
from analysis.words import headings as say
from analysis.words.answers import shared_headline
from analysis.words.chemistry import MODEL_CAUTION, say_odd_ph, say_tag_link
from analysis.words.classroom import (
    BROUGHT_UP,
    SAFETY,
    ask_bakes,
    ask_interval,
    ask_matters,
    ask_residual,
    ask_soda,
    idea,
)
from analysis.words.glance import say_first_next, say_rests_on, say_taste, say_where
from analysis.words.limits import all_limits
from analysis.words.numbers import say_count, say_level, start, with_unit
from analysis.words.panel import CONSENT, HOW, STILL_BLIND, STILL_TASTED, say_missing, say_panel
from reports.figures.taste import tags_of
from reports.html import plain
from reports.kinds import Told, _scored
from reports.sections.blocks import Section
from reports.sections.checked import FOR_YOUR_EYE


def texts_in(document: Any) -> Iterator[str]:
    if isinstance(document, str):
        yield document
    elif isinstance(document, dict):
        yield from (text for one in document.values() for text in texts_in(one))
    elif isinstance(document, list):
        yield from (text for one in document for text in texts_in(one))


def made_again(told: Told) -> set[str]:
    """Every sentence that the answer gives."""
    analysis, question = told.analysis, told.analysis.question
    said = list(texts_in(json.loads(json.dumps(analysis_json(analysis)))))
    said += [shared_headline(analysis), say_rests_on(analysis), say_first_next(analysis), *all_limits(analysis)]
    said += [MODEL_CAUTION, *GLOSSARY.values()]
    for result in analysis.responses:
        said += [f"{start(check.verdict)}: {say_check(check)}" for check in result.checks]
        said += [start(say_treatment(t, question)) for bakes in result.next_bakes for t in bakes.treatments]
        said.append(start(result.response.name))
    said.append(
        f"{analysis.rows_used} of {say_count(analysis.rows_read, 'row')} were used. {say_left_out(analysis.left_out)}"
    )
    said += [*of_the_account(told), *of_the_notes(told)]
    return {plain(text) for text in said if text}


def of_the_account(told: Told) -> Iterator[str]:
    """What measured pH and taste words say of the account; asked of the analysis again."""
    if told.chemistry is None:
        return
    account = told.chemistry.set_index(told.chemistry["bake"].astype(str))
    columns = {"left-over soda": SODA_LEFT, "predicted pH": PREDICTED_PH, "measured pH": "measured_ph"}
    if "measured_ph" in account:
        both = account.dropna(subset=["measured_ph", PREDICTED_PH])
        yield say_odd_ph(odd_ph(list(both["bake"]), list(both["measured_ph"]), list(both[PREDICTED_PH])))
    if told.notes is not None:
        tags: dict[str, list[str]] = {}
        for bake, cell in zip(told.notes["bake"], told.notes["tags"], strict=True):
            tags.setdefault(str(bake), []).extend(tags_of(cell))
        values = {said: dict(account[name].astype(float)) for said, name in columns.items() if name in account}
        yield from map(say_tag_link, tag_links(tags, values))


def of_the_notes(told: Told) -> Iterator[str]:
    """What tasters said at each dose, counted anew; the page shows that of one dose."""
    dose = next((result.family.dose for result in told.analysis.responses if result.family.dose), None)
    if told.notes is None or dose is None or dose.dose not in told.notes:
        return
    unit = next(factor.unit for factor in told.analysis.question.factors if factor.name == dose.dose)
    for amount, there in told.notes.groupby(dose.dose):
        counted = Counter(tag for tags in there["tags"] for tag in set(tags_of(tags)))
        yield say_taste(counted, len(there), say_where(amount, dose.dose, unit, [amount]))


# What only joins the parts of a page: no finding, and no number but how many there are of something.
JOINING = (
    r"The \d+ others stand in the table below\.",
    r"Counted by [\w ]+; the notes themselves stand below, each with its treatment\.",
    r"Nothing is open that more bakes of this kind would settle\.",
    r"No check applied to these bakes\.",
)


def strangers(sections: list[Section], told: Told) -> list[str]:
    """The sentences of a page that the answer does not give."""
    known = made_again(told)
    sentences = (
        text
        for section in sections
        for block in section.blocks
        for text in (block.items if block.kind == "items" else (block.text,) if block.kind == "words" else ())
    )
    return [text for text in sentences if plain(text) not in known and not any(re.fullmatch(j, text) for j in JOINING)]


def asked_again(told: Told) -> Iterator[str]:
    """Every question that a class may be asked of this answer, with its reply; the page has three of them."""
    analysis = told.analysis
    asked = []
    for result in analysis.responses:
        for finding in result.findings:
            if finding.kind == "effect" and None not in (finding.size, finding.low, finding.high):
                asked.append(ask_interval(finding, result, analysis.question))
                asked += [ask_matters(finding, result, result.response.matters)] if result.response.matters else []
        points = result.family.points
        treatments = {tuple(sorted((name, str(level)) for name, level in p.settings.items())) for p in points}
        asked += [ask_bakes(result, len(treatments))] if treatments else []
        spread = result.family.residual.sd if result.family.residual else None
        asked += [ask_residual(p, result, spread) for p in points if spread and p.fitted is not None]
    yield from (text for one in asked for text in (one.question, one.answer))
    if told.chemistry is not None:
        value = SUBSTANCES["cream of tartar"].neutralising_value
        factors = [factor for factor in analysis.question.factors if factor.name in told.chemistry]
        for _, row in told.chemistry.iterrows():
            settings = ", ".join(f"{f.name} {with_unit(say_level(row[f.name]), f.unit)}" for f in factors)
            one = ask_soda(settings, round(float(row[SODA_LEFT]), 2), value)
            yield from (one.question, one.answer)


def compared_again(told: Told) -> Iterator[str]:
    """What the scores say of the assessors."""
    yield from (*CONSENT, HOW, STILL_BLIND, STILL_TASTED, say.WHO_UNKNOWN, say.NO_SCORE)
    for result in told.analysis.responses:
        response = result.response
        if told.scores is not None:
            own = told.scores[told.scores["response"] == response.name].rename(columns={"score": response.name})
            yield say_missing(response.name, int(own["person"].nunique()))
            if own["person"].nunique() > 1:
                yield from say_panel(panel_of(own, response, told.analysis.question), told.analysis.question.confidence)


def test_every_sentence_for_a_class_or_a_panel_is_made_again(pages, panelled, other_kinds):
    ideas = [f"{start(term) if len(term) > 1 else term}: {idea(term)}" for term in BROUGHT_UP]
    questions = 0
    for (kind, name), page in other_kinds.items():
        told = {**pages, **panelled}[name]
        if kind == "class":
            more = {plain(text) for text in (*asked_again(told), *ideas, *SAFETY, say.NOT_OPENED)}
        else:
            told = replace(told, analysis=_scored(told.analysis))
            more = {plain(text) for text in compared_again(told)}
        assert [text for text in strangers(page.sections, told) if plain(text) not in more] == [], (kind, name)
        replies = [block for part in page.sections if part.key == "questions" for block in part.blocks]
        replies = [row[1] for block in replies if block.kind == "grid" for row in block.table.rows]
        assert {plain(reply) for reply in replies} <= more, name
        questions += len(replies)
    assert questions >= 3 * len(pages) - 6


def test_every_sentence_of_a_page_is_made_again_from_its_answer(pages, made):
    for name, told in pages.items():
        assert strangers(made[name].sections, told) == [], name


def test_the_sentence_under_a_picture_of_a_check_is_that_checks(pages, made):
    compared = 0
    for name, told in pages.items():
        known = made_again(told)
        (checks,) = [section for section in made[name].sections if section.key == "checks"]
        for block in checks.blocks:
            if block.kind == "picture" and block.figure.caption != FOR_YOUR_EYE:
                assert plain(block.figure.caption) in known, name
                compared += 1
    assert compared >= 10


def test_a_sentence_with_another_number_is_a_stranger(pages, made):
    """Every sentence with numbers, with one digit of it changed."""
    changed = 0
    for name in ("demo soda", "screening", "equivalence"):
        for section in made[name].sections:
            for block in section.blocks:
                found = re.search(r"\d", block.text) if block.kind == "words" else None
                if found is None or section.key == "provenance" or any(re.fullmatch(j, block.text) for j in JOINING):
                    continue
                other = block.text[: found.start()] + str((int(found[0]) + 1) % 10) + block.text[found.end() :]
                falsified = replace(section, blocks=[replace(block, text=other)])
                assert strangers([falsified], pages[name]) == [other]
                changed += 1
    assert changed >= 8
