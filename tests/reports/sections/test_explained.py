"""Does each idea get its line where it first comes up, and only there?"""

from __future__ import annotations

from dataclasses import replace

from analysis.words.classroom import BROUGHT_UP, SAFETY, idea
from analysis.words.glossary import GLOSSARY
from analysis.words.numbers import start
from reports.kinds import Told, sections_of
from reports.page import trial_report
from reports.sections.blocks import Grid, Heading, Items, Section, Words
from reports.sections.explained import WORD_LIST, with_ideas


def told(answers, kind="factorial", **more) -> list[Section]:
    return sections_of("class", Told(analysis=answers[kind](), **more))


def lines(sections) -> list[str]:
    said = [b.text for s in sections for b in s.blocks if isinstance(b, Words) and b.tone == "idea"]
    return [
        next(term for term in BROUGHT_UP if one == f"{start(term) if len(term) > 1 else term}: {GLOSSARY[term]}")
        for one in said
    ]


def test_an_idea_is_explained_behind_what_brings_it_up_and_never_again():
    first = Words(text="The 95 % interval holds 3 mm.")
    parts = [
        Section(key="a", title="A", blocks=[Heading(text="Rise"), first, Words(text="No word of it.")]),
        Section(key="b", title="B", blocks=[Words(text="Another interval."), Words(text="pH 7.")]),
    ]
    laid = with_ideas(parts)
    assert laid[0].blocks[:3] == (parts[0].blocks[0], first, Words(text=f"Interval: {idea('interval')}", tone="idea"))
    assert lines(laid) == ["interval", "pH"]


def test_what_lies_folded_brings_nothing_up():
    from reports.figures.picture import Table

    folded = Grid(caption="Residuals", table=Table(columns=("residual",), rows=(("1",),)), fold=True)
    section = Section(key="a", title="A", blocks=[folded])
    assert with_ideas([section])[0].blocks == (folded,)
    assert lines(with_ideas([replace(section, blocks=[replace(folded, fold=False)])])) == ["residual"]


def test_every_idea_has_its_line():
    assert all(idea(term) == GLOSSARY[term] for term in BROUGHT_UP)
    assert {"block", "replicate", "repeat", "interaction", "residual", "neutralising value", "pH"} <= set(BROUGHT_UP)


def test_safety_stands_first_and_no_idea_twice(answers, notes):
    parts = told(answers, notes=notes, plan={"block": "bake day"})
    assert parts[0].key == "safety"
    assert parts[0].blocks == [Items(items=SAFETY)]
    assert len(set(lines(parts))) == len(lines(parts))
    assert {"interval", "difference that matters", "replicate", "interaction", "residual"} <= set(lines(parts))


def test_the_list_of_words_gives_way_to_the_lines(answers):
    kitchen = sections_of("kitchen", Told(analysis=answers["factorial"]()))
    headings = {
        name: [b.text for s in parts for b in s.blocks if isinstance(b, Heading)]
        for name, parts in (("kitchen", kitchen), ("class", told(answers)))
    }
    assert WORD_LIST in headings["kitchen"]
    assert WORD_LIST not in headings["class"]


def test_the_page_is_well_formed(answers, notes, read):
    page = trial_report(answers["dose"](), title="A", provenance={"x": "y"}, notes=notes, kind="class")
    assert read(page).faults == []
