"""What does a real browser make of the pages: blocked styles, requests, access, paper?"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

import pandas as pd
import pytest

from analysis.control.gauge.analysing import gauge_study
from analysis.control.gauge.results import GaugeQuestion
from reports.batches import batches_page
from reports.gauge import gauge_page
from reports.labels import code_labels
from reports.oven_map import oven_map
from reports.page import trial_report
from reports.sheet import bench_sheet
from reports.weighing_list import weighing_list

pytestmark = pytest.mark.browser
KINDS = ("dose", "screening", "factorial", "sheet", "labels", "weighing", "oven", "gauge", "batches")


def loaves() -> pd.DataFrame:
    """Three bakers who read twelve loaves twice; one of them reads high."""
    rows = [
        (who, f"loaf {loaf}", 40 + 0.7 * loaf + 1.1 * (who == "Bernadette") + 0.5 * ((loaf * 7 + k * 5 + len(who)) % 3))
        for who in ("Ada", "Bernadette", "Cleo")
        for loaf in range(12)
        for k in range(2)
    ]
    return pd.DataFrame(rows, columns=["baker", "loaf", "height"])


class Files(dict[str, Path]):
    """Each page as a file to be opened offline, drawn when it is first asked for."""

    def __init__(self, folder: Path, made: Mapping[str, Callable[[], str]]) -> None:
        super().__init__()
        self._folder, self._made = folder, made

    def __missing__(self, kind: str) -> Path:
        self[kind] = self._folder / f"{kind}.html"
        self[kind].write_text(self._made[kind](), encoding="utf-8")
        return self[kind]


@pytest.fixture(scope="module")
def files(answers, taste_notes, sheet, logged, tmp_path_factory):
    """Drawn once for all tests, which change none of them."""

    def report(kind: str) -> str:
        return trial_report(
            answers[kind](),
            title="A trial",
            question="What moves it?",
            notes=taste_notes() if kind == "dose" else None,
            plan={"kind": "full factorial"},
            provenance={"content hash": "3f" * 32},
            cautions=("Mind this.",),
            invented=True,
        )

    def gauge() -> str:
        asked = GaugeQuestion(response="height", unit="mm", person="baker", piece="loaf", tolerance=8)
        return gauge_page(gauge_study(loaves(), asked), title="Heights", provenance={"command": "x"}).html()

    made: dict[str, Callable[[], str]] = {kind: partial(report, kind) for kind in ("dose", "screening", "factorial")}
    made |= {
        "sheet": lambda: bench_sheet(sheet()),
        "labels": lambda: code_labels(sheet()),
        "weighing": lambda: weighing_list(sheet(), spare_percent=5),
        "oven": lambda: oven_map(sheet()),
        "gauge": gauge,
        "batches": lambda: batches_page(logged()).html(),
    }
    return Files(tmp_path_factory.mktemp("pages"), made)


def opened(browser, path, **view):
    """The page in a fresh context, with everything it said on the console and asked of the network."""
    context = browser.new_context(**({"viewport": {"width": 810, "height": 1000}} | view))
    page = context.new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    return page, said, asked


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_is_blocked_and_nothing_is_asked_for(browser, files, kind):
    page, said, asked = opened(browser, files[kind])
    assert said == []
    assert asked == [files[kind].as_uri()]
    assert page.evaluate("getComputedStyle(document.body).maxWidth") != "none"  # the style did apply
    page.context.close()


def test_a_style_the_policy_does_not_know_is_refused(browser, files, tmp_path):
    """Proof that the test above can fail."""
    spoilt = tmp_path / "spoilt.html"
    spoilt.write_text(files["dose"].read_text(encoding="utf-8").replace("</style>", " </style>"), encoding="utf-8")
    page, said, _ = opened(browser, spoilt)
    assert any("Content Security Policy" in line for line in said)
    assert page.evaluate("getComputedStyle(document.body).maxWidth") == "none"
    page.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("kind", KINDS)
def test_no_barrier_is_found(browser, files, kind, scheme):
    from axe_playwright_python.sync_playwright import Axe

    # axe is itself a script, which our policy refuses: the test's browser sets the policy aside.
    page, _, _ = opened(browser, files[kind], color_scheme=scheme, bypass_csp=True)
    page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    page.context.close()


@pytest.mark.parametrize("kind", KINDS)
def test_the_page_never_scrolls_sideways(browser, files, kind):
    """320 px is also a 640 px window at 200 % zoom."""
    page, _, _ = opened(browser, files[kind], viewport={"width": 320, "height": 900})
    for width in (320, 390, 810, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("innerWidth") == width
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width
    page.context.close()


@pytest.mark.parametrize("kind", ["dose", "screening", "factorial"])
def test_pictures_follow_a_dark_page(browser, files, kind):
    inks = []
    for scheme in ("light", "dark"):
        page, _, _ = opened(browser, files[kind], color_scheme=scheme)
        inks.append(
            page.evaluate(
                """[...document.querySelectorAll('svg [fill^="var(--ink"]')].map(e => getComputedStyle(e).fill)"""
            )
        )
        page.context.close()
    assert set(inks[0]) == {"rgb(29, 27, 24)"}
    assert set(inks[1]) == {"rgb(236, 232, 225)"}


@pytest.mark.parametrize("kind", ["dose", "screening", "factorial", "gauge"])
def test_nothing_in_a_picture_lies_outside_it(browser, files, kind):
    page, _, _ = opened(browser, files[kind])
    outside = page.evaluate(
        """[...document.querySelectorAll('svg')].flatMap(svg => {
             const frame = svg.getBoundingClientRect();
             return [...svg.querySelectorAll('use, text')].map(e => e.getBoundingClientRect())
               .filter(b => b.width && (b.left < frame.left - 1 || b.right > frame.right + 1
                                        || b.top < frame.top - 1 || b.bottom > frame.bottom + 1)).length })"""
    )
    assert outside
    assert sum(outside) == 0
    page.context.close()


@pytest.mark.parametrize("size", ["A4", "Letter"])
@pytest.mark.parametrize("kind", ["dose", "screening", "factorial"])
def test_paper_cuts_no_picture(browser, files, kind, size):
    """Laid out for paper, no picture is taller or wider than the printed area."""
    page, _, _ = opened(browser, files[kind])
    printed = page.pdf(format=size)
    assert printed.startswith(b"%PDF")
    page.emulate_media(media="print")
    wide, high = {"A4": (210 - 30, 297 - 34), "Letter": (216 - 30, 279 - 34)}[size]
    page.set_viewport_size({"width": round(wide * 96 / 25.4), "height": 1000})
    printed_pictures = "[...document.querySelectorAll('figure:not(.screen) > svg')]"
    boxes = page.evaluate(f"{printed_pictures}.map(s => [s.clientWidth, s.clientHeight])")
    assert boxes
    for width, height in boxes:
        assert 0 < width <= wide * 96 / 25.4
        assert 0 < height <= high * 96 / 25.4
    assert page.evaluate("document.documentElement.scrollWidth") <= round(wide * 96 / 25.4)
    rules = page.evaluate("[...document.querySelectorAll('figure > svg')].map(s => getComputedStyle(s).breakInside)")
    assert set(rules) == {"avoid"}
    page.context.close()


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext here")
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_each_printed_sheet_names_trial_plan_and_page(browser, files, tmp_path, size):
    page, _, _ = opened(browser, files["sheet"])
    target = tmp_path / "sheet.pdf"
    page.pdf(path=str(target), format=size)
    page.context.close()
    pages = subprocess.run(
        ["pdftotext", "-layout", str(target), "-"], capture_output=True, text=True, check=True
    ).stdout
    leaves = pages.rstrip("\f").split("\f")
    for number, leaf in enumerate(leaves, start=1):
        assert f"page {number} of {len(leaves)}" in leaf
        assert "trial soda and acid · plan cdcdcdcdcdcd" in leaf
    cards = [len(re.findall(r"bake \d+ of 12", leaf)) for leaf in leaves]
    ends = [leaf.count("anything unusual") for leaf in leaves]
    assert sum(cards) == 12
    assert cards == ends  # a run begins and ends on one leaf
