"""Does the picture show where the scatter lies, as the words beside it say?"""

from dataclasses import replace
from types import SimpleNamespace

from analysis.linear.scatter import GroupScatter, ScatterPart
from analysis.questions import Response
from analysis.words.scatter import say_scatter
from reports.figures.scatter import draw_scatter
from reports.sections.scatter import show_scatter

PART = ScatterPart(
    lines=(
        GroupScatter(group="day", sd=2.1, low=1.2, high=4.9, groups=8),
        GroupScatter(group="day+batch", sd=0.0, low=0.0, high=None, groups=24, within="day", boundary=True),
        GroupScatter(group="residual", sd=1.4, low=1.1, high=1.9, groups=None, within="day+batch"),
    ),
    smallest="bakes",
)


def about(transform=None):
    family = SimpleNamespace(model=SimpleNamespace(transform=transform))
    return SimpleNamespace(response=Response(name="rise", unit="mm"), family=family)


def test_each_kind_of_group_has_its_sentence():
    first, second, last = say_scatter(PART, about(), None)
    assert first == "Days differ by about 2.1 mm (SD, 95 % interval 1.2 to 4.9)."
    assert "batches of one day is zero" in second
    assert last.startswith("Bakes of one batch within day differ by about 1.40 mm")


def test_spreads_of_logarithms_have_no_unit_and_say_their_scale():
    *lines, scale = say_scatter(PART, about("log"), None)
    assert "mm" not in " ".join(lines)
    assert scale == "These sizes stand on the scale of the logarithm, where 0.01 is about 1 %."
    figure = show_scatter(PART, about("log"), SimpleNamespace(question=None), lambda: "figure-1")[1].figure
    assert "mm" not in figure.svg
    assert "logarithm of rise" in figure.svg


def test_a_changed_result_changes_picture_alt_text_and_table():
    drawn = draw_scatter(PART, response="rise", unit="mm", key="figure-1", confidence=0.95)
    assert drawn.alt == "Most scatter of rise lies between days: SD 2.1 mm."
    assert [row[2] for row in drawn.table.rows] == ["2.1", "0", "1.40"]
    wider = replace(PART, lines=(*PART.lines[:2], replace(PART.lines[2], sd=9.0, low=7.0, high=12.0)))
    again = draw_scatter(wider, response="rise", unit="mm", key="figure-1", confidence=0.95)
    assert "bakes of one batch within day" in again.alt
    assert again.svg != drawn.svg
    assert again.table.rows[2][2] != drawn.table.rows[2][2]
