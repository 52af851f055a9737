"""Could a busy chef read the answer? The school grade of what stands first on a page.

Grade = 0.39 words per sentence + 11.8 syllables per word - 15.59: Kincaid, Fishburne, Rogers and
Chissom (1975), Derivation of new readability formulas, Research Branch Report 8-75. A number with
its unit counts as one word of one syllable. Syllables are groups of vowels without a silent e.
"""

from __future__ import annotations

import importlib.util
import re
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from reports.kinds import Told
from reports.sections.answer import answer_section
from reports.sections.blocks import Grid, Heading, Items, Picture, Section, Words
from reports.sections.glance import glance_section
from reports.sections.numbering import Keys

HIGHEST = 9.0
HARDEST = 12.0  # of a single sentence: names of a baker's own may be long
_UNIT = r"(?:\s?(?:% flour|%|mm|mL|ml|g|meq|°C|°F|min|cm|kPa|points?|scores?))?"
_NUMBER = re.compile(r"[+\-−±]?\d+(?:[.,]\d+)?(?:e-?\d+)?" + _UNIT + r"(?!\w)")
_END = re.compile(r"[.!?](?:\s+|$)")
_WORD = re.compile(r"[A-Za-zÀ-ÿ]+(?:'[a-z]+)?")


def syllables(word: str) -> int:
    word = word.lower().removesuffix("'s")
    groups = len(re.findall(r"[aeiouyà-ÿ]+", word))
    if groups > 1 and re.search(r"[^aeiouyl]e$|[^aeiouytd]ed$|[^aeiouysxzcg]es$|[aeiouy]le$", word):
        groups -= 1
    return max(groups, 1)


def grade(sentences: list[str]) -> float:
    """Of all sentences together, each ended by a full stop, an exclamation or a question mark."""
    words, ends, sounds = 0, 0, 0
    for sentence in sentences:
        for part in _END.split(_NUMBER.sub(" ten ", sentence)):
            found = _WORD.findall(part)
            if found:
                ends, words, sounds = ends + 1, words + len(found), sounds + sum(map(syllables, found))
    return 0.39 * words / ends + 11.8 * sounds / words - 15.59


def said_first(sections: Sequence[Section]) -> list[str]:
    """The sentences of the answer, of what to do and of what is seen at a glance."""
    said: list[str] = []
    for section in sections:
        if section.key not in ("answer", "do", "glance", "eyes"):
            continue
        for block in section.blocks:
            if isinstance(block, Words | Heading):
                said.append(block.text)
            elif isinstance(block, Items):
                said += block.items
            elif isinstance(block, Grid):
                said.append(block.caption)
            elif isinstance(block, Picture):
                said.append(block.figure.caption)
    return said


@pytest.mark.parametrize(
    ("word", "count"),
    [
        ("rise", 1),
        ("height", 1),
        ("interval", 3),
        ("table", 2),
        ("baked", 1),
        ("wanted", 2),
        ("flour", 1),
        ("amount", 2),
    ],
)
def test_syllables_of_words_are_counted_as_they_are_spoken(word, count):
    assert syllables(word) == count


def test_the_formula_gives_what_can_be_reckoned_by_hand():
    # 10 words in 2 sentences, 11 syllables: 0.39 * 5 + 11.8 * 1.1 - 15.59 = -0.66.
    assert grade(["The loaf rose well. It took just 2.5 % flour of soda."]) == pytest.approx(-0.66)


def test_hard_words_are_told_from_easy_ones():
    hard = "Heteroscedasticity notwithstanding, simultaneous confidence intervals substantiate differentiation."
    assert grade([hard]) > HIGHEST + 5


def faults(pages: Mapping[str, Sequence[Section]]) -> dict[str, object]:
    """Pages whose first parts are too hard as a whole, and sentences that are by themselves."""
    said = {name: said_first(sections) for name, sections in pages.items()}
    whole = {name: round(grade(lines), 1) for name, lines in said.items() if grade(lines) > HIGHEST}
    return whole | {line: name for name, lines in said.items() for line in lines if grade([line]) > HARDEST}


def canned() -> dict[str, Told]:
    """The studies whose answers stand beside the tests of the analysis."""
    spec = importlib.util.spec_from_file_location("canned_studies", Path(__file__).parents[2] / "analysis/conftest.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return {study.name: Told(analysis=found) for study, found in module._answered()}


def test_every_canned_study_is_read_by_a_ninth_grader(listening):
    undrawn, _ = listening
    studies = canned()
    assert len(studies) == 31
    with undrawn():
        first = {
            name: [answer_section(told.analysis), glance_section(told.analysis, told.chemistry, told.notes, Keys())]
            for name, told in studies.items()
        }
    assert faults({name: [part for part in parts if part is not None] for name, parts in first.items()}) == {}


def test_the_demo_is_read_by_a_ninth_grader(demo, made):
    assert faults({name: made[name].sections for name in demo}) == {}


def test_a_class_reads_its_page_in_the_ninth_grade(pages, other_kinds):
    held = {name: page.sections for (kind, name), page in other_kinds.items() if kind == "class"}
    assert held.keys() == pages.keys()
    assert faults(held) == {}


def test_pages_of_batches_charts_and_measuring_are_read_by_a_ninth_grader(others_made):
    held = {name: page.sections for name, page in others_made.items() if name not in ("pooled", "balance")}
    assert len(held) >= 18
    assert faults(held) == {}
