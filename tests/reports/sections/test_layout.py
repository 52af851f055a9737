"""Where does each block of a section stand on paper?"""

from __future__ import annotations

import pytest

from reports.figures.picture import Figure, Table
from reports.sections.blocks import Heading, Picture, Section, Words

FIGURE = Figure(key="f", svg="<svg/>", alt="a", caption="c", table=Table(columns=("x",), rows=()))
HEADING = Heading(text="h")
WORDS, OPEN, SHUT = Words(text="w"), Picture(figure=FIGURE), Picture(figure=FIGURE, fold=True)
SCREEN, MORE = Picture(figure=FIGURE, screen=True), Picture(figure=FIGURE, fold=True, more=True)


@pytest.mark.parametrize(
    ("blocks", "places"),
    [
        ((), []),
        ((WORDS, SHUT), ["", "beside"]),
        ((OPEN, SHUT, SHUT), ["beside", "half", "half"]),
        ((SHUT, SHUT, SHUT), ["half", "half", "beside"]),
        ((SHUT, WORDS, SHUT), ["beside", "", "beside"]),
        ((SHUT, SCREEN, SHUT), ["beside", "screen", "beside"]),
        ((HEADING, SHUT, HEADING, SHUT, SHUT), ["", "beside own", "", "half", "half"]),
        ((SHUT, MORE, SHUT, MORE), ["half", "more", "half", "more"]),
    ],
)
def test_pictures_without_a_table_stand_two_on_a_line(blocks, places):
    laid_out = Section(key="s", title="S", blocks=blocks).laid_out
    assert [place for _, place in laid_out] == places
    assert [block for block, _ in laid_out] == list(blocks)
