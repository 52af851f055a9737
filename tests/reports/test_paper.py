"""What does a page leave off paper, and how many leaves are left?"""

from __future__ import annotations

import re

import pypdfium2
import pytest

from reports.batches import batches_page
from reports.page import trial_report

pytestmark = pytest.mark.browser
KINDS = ("dose", "screening", "factorial")
MOST_LEAVES = 8


@pytest.fixture(params=KINDS)
def opened(browser, answers, tmp_path, request):
    """A report in the browser."""
    target = tmp_path / "report.html"
    target.write_text(trial_report(answers[request.param](), title="A trial", provenance={}), encoding="utf-8")
    page = browser.new_context(viewport={"width": 390, "height": 900}).new_page()
    page.goto(target.as_uri())
    yield page
    page.context.close()


def test_a_report_takes_few_leaves_and_folded_tables_are_not_on_them(opened):
    leaves = len(re.findall(rb"/Type\s*/Page\b", opened.pdf(format="A4", prefer_css_page_size=False)))
    assert 1 < leaves <= MOST_LEAVES
    opened.emulate_media(media="print")
    heights = "[...document.querySelectorAll('details')].map(d => d.getBoundingClientRect().height)"
    assert set(opened.evaluate(heights)) == {0}
    opened.evaluate("document.querySelectorAll('details:not(.screen)').forEach(part => part.open = true)")
    kept = "[...document.querySelectorAll('details:not(.screen)')].map(d => d.getBoundingClientRect().height)"
    assert min(opened.evaluate(kept)) > 0  # once opened, they are printed


def lines_on(leaf) -> list[tuple[float, float, float, float]]:
    """Left, bottom, right, top of each piece of a line, in points."""
    text = leaf.get_textpage()
    return [text.get_rect(number) for number in range(text.count_rects())]


def drawn_over_each_other(leaf) -> int:
    """Pairs of pieces of lines that share more than a third of the lower one's height."""
    boxes = lines_on(leaf)
    found = 0
    for place, one in enumerate(boxes):
        for other in boxes[place + 1 :]:
            across = min(one[2], other[2]) - max(one[0], other[0])
            along = min(one[3], other[3]) - max(one[1], other[1])
            found += across > 1 and along > min(one[3] - one[1], other[3] - other[1]) / 3
    return found


@pytest.mark.parametrize("opened", ["factorial"], indirect=True)
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_line_is_drawn_over_another_wherever_a_leaf_ends(opened, paper):
    opened.evaluate("document.querySelectorAll('main > section:not(.sure)').forEach(other => other.remove())")
    opened.evaluate("document.querySelector('section.sure').before(document.createElement('hr'))")
    for gap in range(600, 960, 12):  # the end of a leaf passes over the methods and the words used
        opened.evaluate(f"document.querySelector('main > hr').style.cssText = 'height: {gap}px; border: 0; margin: 0'")
        leaves = pypdfium2.PdfDocument(opened.pdf(format=paper))
        assert sum(len(lines_on(leaf)) for leaf in leaves) > 20
        assert [drawn_over_each_other(leaf) for leaf in leaves] == [0] * len(leaves), gap


def test_a_section_of_which_nothing_is_printed_leaves_no_heading(browser, logged, tmp_path):
    target = tmp_path / "batches.html"
    target.write_text(batches_page(logged()).html(), encoding="utf-8")
    page = browser.new_page()
    page.goto(target.as_uri())
    page.emulate_media(media="print")
    shown = "document.querySelector('section.batches').getBoundingClientRect().height"
    assert page.evaluate(shown) == 0
    page.evaluate("document.querySelector('section.batches details').open = true")
    assert page.evaluate(shown) > 0
    page.close()


def test_two_pictures_fit_on_a_leaf(opened):
    opened.emulate_media(media="print")
    heights = opened.evaluate("[...document.querySelectorAll('figure > svg')].map(s => s.clientHeight * 25.4 / 96)")
    assert heights
    assert max(heights) <= (297 - 34) / 2 - 40  # mm; the rest is for caption and table


def test_each_wide_table_scrolls_in_its_own_box_and_is_reached_by_keyboard(opened):
    opened.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
    tables = opened.evaluate(
        """[...document.querySelectorAll('table')].map(t => { const box = t.parentElement; return {
             inside: box.getBoundingClientRect().right <= innerWidth + 1, way: getComputedStyle(box).overflowX,
             tab: box.tabIndex, role: box.getAttribute('role'), name: box.getAttribute('aria-label') || '',
             wide: box.scrollWidth > box.clientWidth + 1 }; })"""
    )
    assert any(table["wide"] for table in tables)
    for table in tables:
        assert table["inside"], table
        assert (table["way"], table["tab"], table["role"]) == ("auto", 0, "region"), table
        assert table["name"], table
    assert opened.evaluate("document.documentElement.scrollWidth") <= 390
