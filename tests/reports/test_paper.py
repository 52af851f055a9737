"""What does a page leave off paper, and how many leaves are left?"""

from __future__ import annotations

import re

import pytest

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
