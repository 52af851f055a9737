"""Does the page show where all goals are met, with pictures that say it and tables that hold it?"""

from __future__ import annotations

import itertools
import re
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from reports.figures.goals import draw_region
from reports.figures.picture import LONGEST_ALT
from reports.figures.trade_off import draw_front
from reports.page import trial_report
from reports.sections.blocks import Grid, Items, Picture
from reports.sections.goals import show_goals
from reports.sections.numbering import Keys

SODA, TIME = Factor(name="soda", kind="amount", unit="%"), Factor(name="time", kind="amount", unit="min")
ACID = Factor(name="acid", kind="category", levels=("lemon juice", "yogurt"))
OVEN = Factor(name="oven", kind="category", levels=("deck", "rack", "<b>$fan$</b>"))
GOALS = (
    Response(name="rise", unit="mm", goal="maximise", accept=(40.0, 60.0)),
    Response(name="pH", goal="target", target=7.0, accept=(6.6, 7.4)),
)


def answer(*factors: Factor, goals=GOALS):
    chance = np.random.Generator(np.random.PCG64(3))
    sides = [factor.levels or (0.0, 5.0, 10.0) for factor in factors]
    rows = pd.MultiIndex.from_product([*sides, range(3)], names=[*(f.name for f in factors), "again"])
    table = rows.to_frame(index=False).drop(columns="again")
    moved = sum(table[f.name].astype(float) if not f.levels else table[f.name].map(f.levels.index) for f in factors)
    table["rise"] = 34 + 1.5 * moved + chance.standard_normal(len(table))
    table["pH"] = 6.4 + 0.06 * moved + 0.05 * chance.standard_normal(len(table))
    return analyse(table, Question(factors=factors, responses=goals, kind="factors"))


@pytest.mark.parametrize(
    "factors", [(SODA, TIME), (SODA,), (SODA, ACID), (OVEN,), (ACID, OVEN), (SODA, TIME, ACID)], ids=lambda f: len(f)
)
def test_every_kind_of_region_is_drawn_with_alt_caption_and_table(factors):
    analysis = answer(*factors)
    (part,) = [each for each in analysis.parts if each.key == "goals"]
    figure = draw_region(part, analysis, key="k")
    assert figure is not None
    ElementTree.fromstring(figure.svg)
    assert 20 < len(figure.alt) <= LONGEST_ALT
    assert re.search(r"\d", figure.alt)
    assert len(figure.table.rows) == 4
    assert figure.table.rows[-1][0].startswith("best compromise")
    assert {len(row) for row in figure.table.rows} == {len(figure.table.columns)}
    for front in part.fronts:
        drawn = draw_front(front, part, analysis.question, key="f")
        ElementTree.fromstring(drawn.svg)
        assert len(drawn.table.rows) == len(front.points)


def test_the_section_says_tabulates_and_draws():
    analysis = answer(SODA, TIME)
    (part,) = [each for each in analysis.parts if each.key == "goals"]
    blocks = show_goals(part, analysis, analysis, Keys())
    assert isinstance(blocks[0], Items)
    assert isinstance(blocks[1], Grid)
    assert [row[0] for row in blocks[1].table.rows] == ["Rise (mm)", "pH"]
    assert any(isinstance(block, Picture) for block in blocks)


def test_another_mean_changes_sentence_table_and_picture():
    def page(low):
        goals = (Response(name="rise", unit="mm", goal="maximise", accept=(low, 60.0)), GOALS[1])
        return trial_report(answer(SODA, TIME, goals=goals), title="t", provenance={"content hash": "3f" * 32})

    one, other = page(40.0), page(44.0)
    assert "Several goals at once" in one
    assert one.count("40 or more") == 2
    assert "40 or more" not in other
    titled = re.compile(r"<svg[^>]*>\s*<title[^>]*>How surely all goals are met.*?</svg>", re.DOTALL)
    pictures = [titled.findall(each) for each in (one, other)]
    assert len(pictures[0]) == len(pictures[1]) == 1
    assert pictures[0] != pictures[1]


def test_labels_of_contours_that_lie_close_stand_apart():
    from matplotlib.figure import Figure as Sheet

    from reports.figures.goals import _write_labels

    axes = Sheet().subplots()
    axes.set(xlim=(0, 1), ylim=(0, 100))
    _write_labels(axes, [(0.50, 20.0, "50 %"), (0.48, 20.5, "80 %"), (0.46, 20.2, "95 %")], (0, 1), (0, 100))
    places = sorted(text.get_position()[1] for text in axes.texts)
    assert len({text.get_position()[0] for text in axes.texts}) == 1
    assert min(upper - lower for lower, upper in itertools.pairwise(places)) >= 5.9


def test_a_strange_name_stays_text():
    page = trial_report(answer(OVEN, ACID), title="t", provenance={"content hash": "3f" * 32})
    assert "<b>$fan$" not in page
