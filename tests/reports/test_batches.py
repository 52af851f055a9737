"""Does a page of batches say what they did, what it went with and what to do, and nothing beyond what was computed?"""

from __future__ import annotations

from dataclasses import replace

import pytest

from reports.batches import batches_page, summary_of
from reports.figures.control import Beneath, draw_control
from reports.products import ProductsTold, products_page, reasons_of
from reports.products import summary_of as say_all
from reports.sections.batches import AlarmTold
from reports.sections.blocks import Grid, Items, Picture, Words


def said(page, key):
    """Every sentence of a section."""
    section = next(section for section in page.sections if section.key == key)
    out = []
    for block in section.blocks:
        out += [block.text] if isinstance(block, Words) else []
        out += list(block.items) if isinstance(block, Items) else []
        out += [cell for row in block.table.rows for cell in row] if isinstance(block, Grid) else []
    return out


def test_the_answer_comes_first_and_what_to_do_after_it(logged):
    page = batches_page(logged())
    assert [section.key for section in page.sections][:4] == ["answer", "do", "glance", "why"]
    assert page.title == "Scones: April 2026"
    answer, do = said(page, "answer"), said(page, "do")
    assert answer[0].startswith("Rise height is not as it was: ")
    assert any(line.startswith("1 change in 60 batches of rise height: flour lot F-2") for line in answer)
    assert do[0] == "Decide about what is on hold: 40."
    assert any("once with flour lot F-2 and once with another lot" in line for line in do)


def test_the_specification_is_counted_piece_by_piece_and_never_called_limits(logged):
    told = logged()
    (response,) = told.responses
    outside = sum(not 40 <= value <= 46 for values in response.series.values for value in values)
    (line,) = [line for line in said(batches_page(told), "answer") if "specification" in line]
    assert outside > 20
    assert line == f"Rise height misses its specification, 40 to 46 mm: {outside} of 180 readings lie outside."


def test_a_log_that_never_changed_needs_nothing(logged):
    calm = replace(logged(step=0.0), decisions=(), alarms=())
    answer, do = said(batches_page(calm), "answer"), said(batches_page(calm), "do")
    assert answer[0].startswith(("Rise height is as it always was: ", "Rise height shows no more than chance: "))
    assert "why" not in [section.key for section in batches_page(calm).sections]
    assert do in (["Go on as it is."], ["Rise height: freeze the limits, so that further batches are judged by them."])


def test_a_run_of_alarms_counts_each_of_them_as_the_list_of_causes_does(logged):
    run = AlarmTold(batch="12 to 15", response="rise height", words="eight in a row", count=4)
    one = AlarmTold(batch="20", response="rise height", words="beyond the upper limit")
    told = replace(logged(), alarms=(run, one, replace(one, batch="30", cause="cold oven", open=False)))
    assert "Say what caused 5 alarms (batches 12 to 15 and 20)." in said(batches_page(told), "do")
    assert "5 alarms without a cause." in reasons_of(told)
    alone = replace(told, alarms=(run,))
    assert "Say what caused 4 alarms (batches 12 to 15)." in said(batches_page(alone), "do")


def test_a_week_tells_only_of_its_own_batches(logged):
    told = replace(logged(), kind="week", batches=tuple(str(n) for n in range(11, 18)), alarms=(), decisions=())
    page = batches_page(told)
    assert "7" in said(page, "answer")[0] or "seven" in said(page, "answer")[0]
    assert "why" not in [section.key for section in page.sections]  # the flour changed after that week
    assert said(page, "alarms") == ["No batch raised an alarm."]
    (picture,) = [b for section in page.sections for b in section.blocks if isinstance(b, Picture)][:1]
    assert len(picture.figure.table.rows) == 60


def test_a_period_without_a_batch_says_so(logged):
    empty = replace(logged(), batches=(), responses=(), rows=None)
    page = batches_page(empty)
    assert said(page, "answer") == ["No batch was baked in April 2026."]
    assert summary_of(empty) == "No batch was baked in April 2026."


def test_one_changed_batch_changes_sentence_picture_alt_text_and_table(logged):
    told = logged()
    (response,) = told.responses
    level = response.charts[0]
    moved = replace(
        level, points=(replace(level.points[0], value=99.0, alarms=("outside the limits",)), *level.points[1:])
    )
    before, after = draw_control(level, key="figure-1"), draw_control(moved, key="figure-1")
    assert before.svg != after.svg
    assert before.table != after.table
    assert "99" in after.table.rows[0][1]
    assert "outside the limits" in after.table.rows[0][4]


def test_lots_stand_below_the_batches_where_they_fit(logged):
    level = logged().responses[0].charts[0]
    lots = ["F-1"] * 30 + ["F-2"] * 29 + ["F-NEVER-NAMED-IN-A-SINGLE-BATCH"]
    figure = draw_control(level, key="figure-1", beneath=Beneath(made_with={"flour": lots}, first="5", last="9"))
    # Text of the picture is drawn as outlines; matplotlib leaves what was drawn as a comment.
    assert "Below: flour." in figure.caption
    plain = draw_control(level, key="figure-1")
    assert figure.svg != plain.svg
    assert len(figure.alt) <= 150


def test_the_product_with_the_most_alarms_comes_first(logged):
    loud, calm = logged(), replace(logged(step=0.0, product="buns"), alarms=(), decisions=())
    calm = replace(calm, responses=tuple(replace(each, specification=None) for each in calm.responses))
    told = ProductsTold(kind="month", first=loud.first, last=loud.last, products=(calm, loud))
    page = products_page(told)
    assert said(page, "answer") == ["1 of 2 products needs eyes."] or len(reasons_of(calm)) > 0
    table = said(page, "calm")
    assert table.index("scones") < table.index("buns")
    assert say_all(told).splitlines()[1] == "scones:"
    assert any("outside the specification" in line for line in reasons_of(loud))


@pytest.mark.parametrize("name", ["<b>scones</b>", "🥯" * 30, "כיכר", "a" * 300])
def test_any_name_is_shown_and_none_is_markup(logged, name):
    page = batches_page(logged(product=name)).html()
    assert "<b>scones" not in page
    assert name[1:].replace("<", "&lt;").replace(">", "&gt;") in page  # a title begins with a capital


def test_same_answer_same_bytes(logged):
    assert batches_page(logged()).html() == batches_page(logged()).html()


def test_a_share_is_drawn_in_percent_and_told_in_percent(logged):
    from analysis.control.charts import chart_batches
    from analysis.control.results import CountSeries

    names = tuple(str(n) for n in range(1, 26))
    series = CountSeries(response="split", batches=names, counts=(3.0,) * 24 + (20.0,), sizes=(40.0,) * 25)
    (chart,) = chart_batches(series, kind="counts")
    figure = draw_control(chart, key="figure-1")
    assert figure.table.rows[-1][1].startswith("50")
    assert "0.5" not in figure.alt
