"""Is every kind of page HTML that a strict reader takes without a word?

The parser is an implementation of the HTML standard's own parsing rules, each parse error
counted; what the rules leave open (names, headings, tables, pictures) is asked besides.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from itertools import pairwise
from xml.etree.ElementTree import Element

import pandas as pd
import pytest

from analysis.control.gauge.analysing import gauge_study
from analysis.control.gauge.results import GaugeQuestion
from analysis.engine import analyse
from analysis.leavening.balance import balance
from analysis.leavening.batter import Amount
from analysis.leavening.curve import titration_curve
from analysis.leavening.ingredients import INGREDIENTS
from analysis.leavening.substances import SUBSTANCES
from analysis.pooling import TrialAnswer, pool_effects
from analysis.questions import Factor, Question, Response
from reports.balance import balance_report
from reports.batches import batches_page
from reports.gauge import gauge_page
from reports.kinds import KINDS, Told
from reports.labels import code_labels
from reports.oven_map import oven_map
from reports.overview import Chapter, Link, overview_page
from reports.page import trial_page, unanswered_page
from reports.pooled import pooled_report
from reports.products import ProductsTold, products_page
from reports.sheet import bench_sheet
from reports.weighing_list import weighing_list

HTML, SVG = "{http://www.w3.org/1999/xhtml}", "{http://www.w3.org/2000/svg}"
TRIALS = [f"{kind} {trial}" for kind in KINDS for trial in ("dose", "screening", "factorial")]
OTHERS = (
    "unanswered",
    "balance",
    "pooled",
    "overview",
    "sheet",
    "labels",
    "weighing",
    "oven",
    "gauge",
    "batches",
    "products",
)


def pooled_trial(name: str) -> TrialAnswer:
    """Eight bakes of two amounts."""
    rows = [(dose, 30 + 3 * dose + (i * 0.618 + len(name) / 7) % 1) for dose in (1.0, 3.0) for i in range(4)]
    asked = Question(
        factors=(Factor(name="soda", kind="amount", unit="%"),),
        responses=(Response(name="rise", unit="mm", matters=2),),
        kind="factors",
    )
    return TrialAnswer(name=name, analysis=analyse(pd.DataFrame(rows, columns=["soda", "rise"]), asked))


def loaves() -> pd.DataFrame:
    """Two bakers who read four loaves twice."""
    rows = [
        (who, loaf, 40 + 2 * loaf + 0.6 * (who == "Ada") + 0.4 * ((loaf * 7 + k * 5 + len(who)) % 3))
        for who in ("Ada", "Ben")
        for loaf in range(4)
        for k in range(2)
    ]
    return pd.DataFrame(rows, columns=["baker", "loaf", "height"])


@pytest.fixture
def page_of(answers, notes, sheet, logged) -> Callable[[str], str]:
    def make(kind: str) -> str:
        if kind in TRIALS:
            audience, trial = kind.split()
            told = Told(
                analysis=answers[trial](), notes=notes, title="A trial", question="How much?", cautions=("Few.",)
            )
            return trial_page(told, kind=audience).html()
        if kind == "unanswered":
            told = Told(analysis=answers["dose"](), title="A trial")
            return unanswered_page(told, why="Nothing was baked.", try_this="bake it").html()
        if kind == "balance":
            citric = Amount(what=SUBSTANCES["citric acid"], grams=2)
            amounts = [
                Amount(what=SUBSTANCES["baking soda"], grams=3),
                citric,
                Amount(what=INGREDIENTS["water"], grams=90),
            ]
            curve = titration_curve(amounts, most_g=3.0)
            return balance_report(balance(amounts), title="A", provenance={"command": "x"}, curve=curve)
        if kind == "gauge":
            asked = GaugeQuestion(response="height", unit="mm", person="baker", piece="loaf", tolerance=8)
            return gauge_page(gauge_study(loaves(), asked), title="A", provenance={"command": "x"}).html()
        if kind == "batches":
            return batches_page(logged()).html()
        if kind == "products":
            several = (logged(), logged(step=0.0, product="buns"))
            told = ProductsTold(kind="month", first=several[0].first, last=several[0].last, products=several)
            return products_page(told).html()
        if kind == "pooled":
            return pooled_report(
                pool_effects([pooled_trial("spring"), pooled_trial("autumn")]), title="A", provenance={}
            )
        if kind == "overview":
            chapter = Chapter(
                title="Soda", question="?", answers=("One.",), links=(Link(words="report", href="a.html"),)
            )
            return overview_page("Demo", opening="All invented.", chapters=[chapter], closing="End.")
        papers = {"sheet": bench_sheet, "labels": code_labels, "weighing": weighing_list, "oven": oven_map}
        return papers[kind](sheet())

    return make


def faults_of(page: str) -> list[str]:
    """Parse errors and broken rules, each as a sentence."""
    parser = pytest.importorskip("tinyhtml5.parser").HTMLParser()
    root: Element = parser.parse(page)
    said = [f"{where}: {code} {facts}" for where, code, facts in parser.errors]
    every = list(root.iter())
    names = Counter(element.get("id") for element in every if element.get("id"))
    said += [f"id {name} stands {count} times" for name, count in names.items() if count > 1]
    for element in every:
        for attribute in ("aria-labelledby", "aria-describedby", "headers", "for"):
            said += [
                f"{attribute} points to no {name}"
                for name in (element.get(attribute) or "").split()
                if name not in names
            ]
        link = element.get("href") or ""
        said += [f"link to no {link}"] if link.startswith("#") and link[1:] not in names else []
    said += [] if root.get("lang") else ["no language"]
    return said + _headings(every) + _tables(root) + _pictures(root)


def _headings(every: list[Element]) -> list[str]:
    levels = [int(e.tag[-1]) for e in every if e.tag in [f"{HTML}h{level}" for level in range(1, 7)]]
    said = [f"h{two} follows h{one}" for one, two in pairwise(levels) if two > one + 1]
    said += [] if levels[:1] == [1] and levels.count(1) == 1 else ["not one first heading"]
    return said + ["an empty heading" for e in every if e.tag[:-1] == f"{HTML}h" and not "".join(e.itertext()).strip()]


def _tables(root: Element) -> list[str]:
    said = []
    for table in root.iter(f"{HTML}table"):
        caption = table.find(f"{HTML}caption")
        named = caption is not None and "".join(caption.itertext()).strip()
        said += [] if named else ["a table without a caption"]
        said += ["a head without scope" for cell in table.iter(f"{HTML}th") if cell.get("scope") not in ("col", "row")]
        widths = {sum(int(cell.get("colspan") or 1) for cell in row) for row in table.iter(f"{HTML}tr")}
        said += ["rows of unlike length"] if len(widths) > 1 else []
    return said


def _pictures(root: Element) -> list[str]:
    said = []
    for svg in root.iter(f"{SVG}svg"):
        told = [svg.find(f"{SVG}{part}") for part in ("title", "desc")]
        spoken = svg.get("role") == "img" and all(part is not None and (part.text or "").strip() for part in told)
        said += [] if spoken or svg.get("aria-hidden") == "true" else ["a picture without words"]
    said += ["an image without alt" for image in root.iter(f"{HTML}img") if image.get("alt") is None]
    return said + [
        "a figure without a caption" for f in root.iter(f"{HTML}figure") if f.find(f"{HTML}figcaption") is None
    ]


@pytest.mark.parametrize("kind", [*TRIALS, *OTHERS])
def test_a_strict_reader_finds_nothing_wrong(page_of, kind):
    assert faults_of(page_of(kind)) == []


@pytest.mark.parametrize(
    ("before", "after", "fault"),
    [
        ("</main>", "</i></main>", "unexpected-end-tag"),
        ('<html lang="en">', "<html>", "no language"),
        ('<main id="main">', '<main id="answer">', "id answer stands 2 times"),
        ('<h2 id="answer">', '<h4 id="answer">', "h4 follows h1"),
        ('scope="col"', "", "a head without scope"),
        ("<caption", "<tbody", "a table without a caption"),
        ('role="img"', "", "a picture without words"),
        ("<figcaption>", "<div>", "a figure without a caption"),
    ],
)
def test_each_rule_can_fail(page_of, before, after, fault):
    page = page_of("kitchen dose")
    assert before in page
    assert any(fault in said for said in faults_of(page.replace(before, after, 1)))
